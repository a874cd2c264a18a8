-- table: reading_cells
-- grain: one row per inspection, unit, material and gain step, control readings apart
-- about: How many readings there were, for all that needs no single one.
-- column: inspection_id | key, with unit_id, material, gain and control
-- column: gain_share | position of the gain step in the unit's range, 0 lowest to 1 highest
-- column: readings | readings
-- column: active | those of them that said active; clear and unsure likewise
-- column: holds | readings with a hold noted
-- column: hold_tenths | seconds held in all, in tenths; hold_milli in thousandths
SELECT r.inspection_id, r.site_id, r.site_key, r.month, r.local_date, r.region, r.season, r.technician_id, r.unit_id, r.model, r.unit_overdue, r.material, r.gain,
       r.gain_min, r.gain_max, r.gain_share, r.control,
       count(*) AS readings, count(*) FILTER (WHERE r.call = 'active') AS active, count(*) FILTER (WHERE r.call = 'clear') AS clear,
       count(*) FILTER (WHERE r.call = 'unsure') AS unsure, count(r.hold_s) AS holds,
       CAST(coalesce(sum(CAST(round(r.hold_s * 10) AS BIGINT)), 0) AS BIGINT) AS hold_tenths,
       CAST(coalesce(sum(CAST(round(r.hold_s * 1000) AS BIGINT)), 0) AS BIGINT) AS hold_milli
FROM readings r
GROUP BY r.inspection_id, r.site_id, r.site_key, r.month, r.local_date, r.region, r.season, r.technician_id, r.unit_id, r.model, r.unit_overdue, r.material, r.gain,
         r.gain_min, r.gain_max, r.gain_share, r.control
ORDER BY r.inspection_id, r.unit_id, r.material, r.gain, r.control
