-- table: repeated_readings
-- grain: one row per point of an inspection and gain step read more than once, control readings left out
-- about: Readings of one point, at one gain step, by one person, within one visit: what scatters among them is not the wall.
-- column: inspection_id | key, with point_id and gain
-- column: active | how many of them said active; clear likewise
-- column: levels | their levels in order of time, those that are noted, as text
WITH again AS (
    SELECT inspection_id, point_id, gain
    FROM readings
    WHERE NOT control
    GROUP BY inspection_id, point_id, gain
    HAVING count(*) > 1
)
SELECT r.inspection_id, r.point_id, r.gain, r.technician_id, r.site_key, r.month,
       count(*) FILTER (WHERE r.call = 'active') AS active,
       count(*) FILTER (WHERE r.call = 'clear') AS clear,
       coalesce(string_agg(CAST(r.level_pct AS VARCHAR), ' ' ORDER BY r.taken_at, r.reading_id), '') AS levels
FROM readings r
JOIN again a ON a.inspection_id = r.inspection_id AND a.point_id = r.point_id AND a.gain = r.gain
WHERE NOT r.control
GROUP BY r.inspection_id, r.point_id, r.gain, r.technician_id, r.site_key, r.month
ORDER BY r.inspection_id, r.point_id, r.gain
