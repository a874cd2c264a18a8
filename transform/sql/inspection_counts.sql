-- table: inspection_counts
-- grain: one row per inspection
-- about: What was read, called and found in an inspection, for all that needs no single point.
-- column: inspection_id | key
-- column: site_key | see visits
-- column: units | the units used, with commas between
-- column: readings | readings, control readings left out
-- column: controls | control readings
-- column: points | points tested
-- column: active | points called active; clear and unsure likewise
-- column: active_verified | points called active that a decisive finding tells about; clear_verified likewise
-- column: confirmed | points called active where activity was found by looking; false_alarms, where none was
-- column: missed | points called clear where activity was found by looking
-- column: missed_reported | points called clear where only a report or a return visit says activity
WITH held AS (
    SELECT inspection_id, string_agg(DISTINCT unit_id, ', ' ORDER BY unit_id) AS units, CAST(coalesce(sum(readings) FILTER (WHERE NOT control), 0) AS BIGINT) AS readings,
           CAST(coalesce(sum(readings) FILTER (WHERE control), 0) AS BIGINT) AS controls
    FROM reading_cells
    GROUP BY inspection_id
), called AS (
    SELECT inspection_id, count(*) AS points, count(*) FILTER (WHERE call = 'active') AS active, count(*) FILTER (WHERE call = 'clear') AS clear,
           count(*) FILTER (WHERE call = 'unsure') AS unsure,
           count(*) FILTER (WHERE call = 'active' AND verified_by = 'decisive') AS active_verified,
           count(*) FILTER (WHERE call = 'active' AND verified_by = 'decisive' AND truth = 'active') AS confirmed,
           count(*) FILTER (WHERE call = 'active' AND verified_by = 'decisive' AND truth = 'not_active') AS false_alarms,
           count(*) FILTER (WHERE call = 'clear' AND verified_by = 'decisive') AS clear_verified,
           count(*) FILTER (WHERE call = 'clear' AND verified_by = 'decisive' AND truth = 'active') AS missed,
           count(*) FILTER (WHERE call = 'clear' AND verified_by = 'report' AND truth = 'active') AS missed_reported
    FROM point_visits
    GROUP BY inspection_id
)
SELECT v.inspection_id, v.site_key, v.month, v.local_date, v.region, coalesce(h.units, '') AS units, coalesce(h.readings, 0) AS readings, coalesce(h.controls, 0) AS controls,
       coalesce(c.points, 0) AS points, coalesce(c.active, 0) AS active, coalesce(c.clear, 0) AS clear, coalesce(c.unsure, 0) AS unsure,
       coalesce(c.active_verified, 0) AS active_verified, coalesce(c.confirmed, 0) AS confirmed, coalesce(c.false_alarms, 0) AS false_alarms,
       coalesce(c.clear_verified, 0) AS clear_verified, coalesce(c.missed, 0) AS missed, coalesce(c.missed_reported, 0) AS missed_reported
FROM visits v
LEFT JOIN held h ON h.inspection_id = v.inspection_id
LEFT JOIN called c ON c.inspection_id = v.inspection_id
ORDER BY v.month, v.inspection_id
