-- name: month_counts
-- title: What was done, month by month
-- question: How much was inspected, called and checked in each month, and what was found?
-- grain: one row per local month
-- reads: visits, reading_cells, point_visits
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: month | local to the region, YYYY-MM
-- column: inspections | inspections begun
-- column: sites | sites visited
-- column: technicians | technicians at work
-- column: readings | readings, those on control places among them
-- column: points | point-visits
-- column: active_calls | point-visits called active
-- column: clear_calls | point-visits called clear
-- column: unsure | point-visits left unsure
-- column: active_verified | active calls that a decisive finding tells about
-- column: confirmed | of these, activity found
-- column: false_alarms | of these, none found
-- column: clear_verified | clear calls that a decisive finding tells about
-- column: missed | of these, activity found
-- column: missed_reported | clear calls where only a report or a return visit says activity
-- caveat: Findings for the newest months may still come in: their checked calls are fewer than they will be.
WITH visited AS (
    SELECT month, count(*) AS inspections, count(DISTINCT site_id) AS sites, count(DISTINCT technician_id) AS technicians
    FROM visits
    WHERE month BETWEEN $from AND $to
    GROUP BY month
), held AS (
    SELECT month, CAST(sum(readings) AS BIGINT) AS readings FROM reading_cells WHERE month BETWEEN $from AND $to GROUP BY month
), called AS (
    SELECT month, count(*) AS points,
           count(*) FILTER (WHERE call = 'active') AS active_calls,
           count(*) FILTER (WHERE call = 'clear') AS clear_calls,
           count(*) FILTER (WHERE call = 'unsure') AS unsure,
           count(*) FILTER (WHERE call = 'active' AND verified_by = 'decisive') AS active_verified,
           count(*) FILTER (WHERE call = 'active' AND verified_by = 'decisive' AND truth = 'active') AS confirmed,
           count(*) FILTER (WHERE call = 'active' AND verified_by = 'decisive' AND truth = 'not_active') AS false_alarms,
           count(*) FILTER (WHERE call = 'clear' AND verified_by = 'decisive') AS clear_verified,
           count(*) FILTER (WHERE call = 'clear' AND verified_by = 'decisive' AND truth = 'active') AS missed,
           count(*) FILTER (WHERE call = 'clear' AND verified_by = 'report' AND truth = 'active') AS missed_reported
    FROM point_visits
    WHERE month BETWEEN $from AND $to
    GROUP BY month
)
SELECT v.month, v.inspections, v.sites, v.technicians, coalesce(h.readings, 0) AS readings, coalesce(c.points, 0) AS points,
       coalesce(c.active_calls, 0) AS active_calls, coalesce(c.clear_calls, 0) AS clear_calls, coalesce(c.unsure, 0) AS unsure,
       coalesce(c.active_verified, 0) AS active_verified, coalesce(c.confirmed, 0) AS confirmed, coalesce(c.false_alarms, 0) AS false_alarms,
       coalesce(c.clear_verified, 0) AS clear_verified, coalesce(c.missed, 0) AS missed, coalesce(c.missed_reported, 0) AS missed_reported
FROM visited v
LEFT JOIN held h ON h.month = v.month
LEFT JOIN called c ON c.month = v.month
ORDER BY v.month
