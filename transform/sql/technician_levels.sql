-- table: technician_levels
-- grain: one row per technician, model, call and level, control readings apart
-- about: How often each level was written down.
-- column: model | model of the unit, or unknown
-- column: level_pct | percent of full scale
-- column: n | readings
SELECT r.month, r.technician_id, coalesce(r.model, 'unknown') AS model, r.call, r.control, r.level_pct, count(*) AS n
FROM readings r
WHERE r.level_pct IS NOT NULL
GROUP BY r.month, r.technician_id, coalesce(r.model, 'unknown'), r.call, r.control, r.level_pct
ORDER BY r.technician_id, model, r.call, r.control, r.level_pct
