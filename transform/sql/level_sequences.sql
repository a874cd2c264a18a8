-- table: level_sequences
-- grain: one row per point of an inspection with at least two readings that are not control readings, each with its level
-- about: The levels of a point in order of time, to be compared with those of other points.
-- column: inspection_id | key, with point_id
-- column: began | time of the first of them
-- column: readings | how many there are
-- column: levels | percent of full scale, in order of time, as text
WITH sequences AS (
    -- Hardly any point is read more than six times, and an aggregate that has to keep an order takes ten times as long.
    SELECT r.inspection_id, r.point_id, min(r.taken_at) AS began, count(*) AS readings,
           concat_ws(', ', CAST(max(r.level_pct) FILTER (WHERE r.nth = 1) AS VARCHAR), CAST(max(r.level_pct) FILTER (WHERE r.nth = 2) AS VARCHAR),
                     CAST(max(r.level_pct) FILTER (WHERE r.nth = 3) AS VARCHAR), CAST(max(r.level_pct) FILTER (WHERE r.nth = 4) AS VARCHAR),
                     CAST(max(r.level_pct) FILTER (WHERE r.nth = 5) AS VARCHAR), CAST(max(r.level_pct) FILTER (WHERE r.nth = 6) AS VARCHAR)) AS levels
    FROM these_readings r
    WHERE NOT coalesce(r.control, false)
    GROUP BY r.inspection_id, r.point_id
    HAVING count(*) BETWEEN 2 AND 6 AND count(*) = count(r.level_pct)
    UNION ALL
    SELECT r.inspection_id, r.point_id, min(r.taken_at), count(*), string_agg(CAST(r.level_pct AS VARCHAR), ', ' ORDER BY r.nth)
    FROM these_readings r
    WHERE NOT coalesce(r.control, false)
      AND EXISTS (SELECT 1 FROM these_readings m WHERE m.inspection_id = r.inspection_id AND m.point_id = r.point_id AND m.nth = 7 AND NOT coalesce(m.control, false))
    GROUP BY r.inspection_id, r.point_id
    HAVING count(*) = count(r.level_pct)
)
SELECT s.inspection_id, s.point_id, v.technician_id, v.site_id, v.month, v.local_date, s.began, s.readings, s.levels
FROM sequences s
JOIN visits v ON v.inspection_id = s.inspection_id
ORDER BY s.inspection_id, s.point_id
