-- table: material_levels
-- grain: one row per material, gain step, call (active or clear) and level, control readings left out
-- about: At which levels readings were called what.
-- column: level_pct | percent of full scale
-- column: n | readings
SELECT r.month, r.material, r.gain, r.call, r.level_pct, count(*) AS n
FROM readings r
WHERE NOT r.control AND r.level_pct IS NOT NULL AND r.call IN ('active', 'clear')
GROUP BY r.month, r.material, r.gain, r.call, r.level_pct
ORDER BY r.material, r.gain, r.call, r.level_pct
