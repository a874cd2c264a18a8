-- table: called_readings
-- grain: one row per reading of the months at hand
-- about: What is asked of readings once it is known what was found, kept in memory while tables of their month are made.
SELECT r.reading_id, r.inspection_id, r.point_id, r.unit_id, r.material, r.gain, r.level_pct, r.call, r.control
FROM near_readings r
WHERE EXISTS (SELECT 1 FROM visits v WHERE v.inspection_id = r.inspection_id)
