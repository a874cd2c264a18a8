-- table: level_sequences
-- grain: one row per point of an inspection with at least two readings that are not control readings, each with its level
-- about: The levels of a point in order of time, to be compared with those of other points.
-- column: inspection_id | key, with point_id
-- column: began | time of the first of them
-- column: readings | how many there are
-- column: levels | percent of full scale, in order of time
-- column: calls | what was called, in the same order
WITH sequences AS (
    SELECT r.inspection_id, r.point_id, min(r.taken_at) AS began, count(*) AS readings,
           array_agg(r.level_pct ORDER BY r.taken_at, r.reading_id) AS levels, array_agg(r.call ORDER BY r.taken_at, r.reading_id) AS calls
    FROM these_readings r
    WHERE NOT coalesce(r.control, false)
    GROUP BY r.inspection_id, r.point_id
    HAVING count(*) >= 2 AND count(*) = count(r.level_pct)
)
SELECT s.inspection_id, s.point_id, v.technician_id, v.site_id, v.month, v.local_date, s.began, s.readings, s.levels, s.calls
FROM sequences s
JOIN visits v ON v.inspection_id = s.inspection_id
ORDER BY s.inspection_id, s.point_id
