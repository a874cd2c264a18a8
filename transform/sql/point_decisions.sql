-- table: point_decisions
-- grain: one row per point in an inspection, with at least one reading that is not a control reading
-- about: Which reading decides the call of a point-visit. A table of its own, so that ranking readings and joining
--        what is known of them need not fit in memory at once.
-- column: reading_id | the last reading that is not unsure, or the last one where every reading was unsure
-- column: readings | readings of the point in this inspection, control readings left out
-- column: max_gain | highest gain step used
WITH ranked AS (
    SELECT r.inspection_id, r.point_id, r.reading_id,
           row_number() OVER (PARTITION BY r.inspection_id, r.point_id ORDER BY r.call = 'unsure', r.taken_at DESC, r.reading_id DESC) AS nth,
           count(*) OVER (PARTITION BY r.inspection_id, r.point_id) AS readings,
           max(r.gain) OVER (PARTITION BY r.inspection_id, r.point_id) AS max_gain
    FROM readings r
    WHERE NOT r.control
)
SELECT inspection_id, point_id, reading_id, readings, max_gain
FROM ranked
WHERE nth = 1
ORDER BY reading_id
