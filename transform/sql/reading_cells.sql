-- table: reading_cells
-- grain: one row per inspection, unit, material and gain step, control readings apart
-- about: How many readings there were, for all that needs no single one.
-- column: inspection_id | key, with unit_id, material, gain and control
-- column: gain_share | position of the gain step in the unit's range, 0 lowest to 1 highest
-- column: readings | readings
-- column: active | those of them that said active; clear and unsure likewise
-- column: holds | readings with a hold noted
-- column: hold_tenths | seconds held in all, in tenths; hold_milli in thousandths
WITH cells AS (
    SELECT r.inspection_id, r.unit_id, r.material, r.gain, coalesce(r.control, false) AS control,
           count(*) AS readings, count(*) FILTER (WHERE r.call = 'active') AS active, count(*) FILTER (WHERE r.call = 'clear') AS clear,
           count(*) FILTER (WHERE r.call = 'unsure') AS unsure, count(r.hold_s) AS holds,
           CAST(coalesce(sum(CAST(round(r.hold_s * 10) AS BIGINT)), 0) AS BIGINT) AS hold_tenths,
           CAST(coalesce(sum(CAST(round(r.hold_s * 1000) AS BIGINT)), 0) AS BIGINT) AS hold_milli
    FROM these_readings r
    GROUP BY r.inspection_id, r.unit_id, r.material, r.gain, coalesce(r.control, false)
)
SELECT c.inspection_id, v.site_id, v.site_key, v.month, v.local_date, v.region, v.season, v.technician_id, c.unit_id, u.model,
       CASE WHEN u.service_due_on IS NULL THEN 'unknown' WHEN u.service_due_on < v.local_date THEN 'yes' ELSE 'no' END AS unit_overdue, c.material, c.gain,
       u.gain_min, u.gain_max, CASE WHEN u.gain_max = u.gain_min THEN 0.0 ELSE (c.gain - u.gain_min) * 1.0 / (u.gain_max - u.gain_min) END AS gain_share, c.control,
       c.readings, c.active, c.clear, c.unsure, c.holds, c.hold_tenths, c.hold_milli
FROM cells c
JOIN visits v ON v.inspection_id = c.inspection_id
JOIN held_units u ON u.unit_id = c.unit_id
ORDER BY c.inspection_id, c.unit_id, c.material, c.gain, c.control
