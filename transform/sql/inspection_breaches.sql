-- table: inspection_breaches
-- grain: one row per inspection and check that was breached
-- about: What an inspection departed from, and how often.
-- column: inspection_id | key, with check_id
-- column: breaches | how often the check was breached
WITH broken AS (
    SELECT inspection_id, check_id, month FROM protocol_readings WHERE breach
    UNION ALL
    SELECT inspection_id, check_id, month FROM protocol_points WHERE breach
    UNION ALL
    SELECT inspection_id, check_id, month FROM protocol_calls WHERE breach
    UNION ALL
    SELECT inspection_id, check_id, month FROM copied_levels WHERE breach
    UNION ALL
    SELECT inspection_id, check_id, month FROM protocol_visits WHERE breach
)
SELECT month, inspection_id, check_id, count(*) AS breaches
FROM broken
GROUP BY month, inspection_id, check_id
ORDER BY month, inspection_id, check_id
