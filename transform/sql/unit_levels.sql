-- table: unit_levels
-- grain: one row per unit and gain step with a control reading whose level is noted
-- about: What a unit showed on places known to be clear.
-- column: readings | control readings with a level
-- column: median_level | percent of full scale
SELECT r.unit_id, r.gain, r.month, count(r.level_pct) AS readings, quantile_cont(r.level_pct, 0.5) AS median_level
FROM readings r
WHERE r.control AND r.level_pct IS NOT NULL
GROUP BY r.unit_id, r.gain, r.month
ORDER BY r.unit_id, r.gain
