-- name: month_counts
-- title: What was done, month by month
-- question: How much was inspected, called and checked in each month, and what was found?
-- grain: one row per local month
-- reads: visits, inspection_counts
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
), counted AS (
    SELECT month, CAST(sum(readings + controls) AS BIGINT) AS readings, CAST(sum(points) AS BIGINT) AS points, CAST(sum(active) AS BIGINT) AS active_calls,
           CAST(sum(clear) AS BIGINT) AS clear_calls, CAST(sum(unsure) AS BIGINT) AS unsure, CAST(sum(active_verified) AS BIGINT) AS active_verified,
           CAST(sum(confirmed) AS BIGINT) AS confirmed, CAST(sum(false_alarms) AS BIGINT) AS false_alarms, CAST(sum(clear_verified) AS BIGINT) AS clear_verified,
           CAST(sum(missed) AS BIGINT) AS missed, CAST(sum(missed_reported) AS BIGINT) AS missed_reported
    FROM inspection_counts
    WHERE month BETWEEN $from AND $to
    GROUP BY month
)
SELECT v.month, v.inspections, v.sites, v.technicians, c.readings, c.points, c.active_calls, c.clear_calls, c.unsure, c.active_verified, c.confirmed, c.false_alarms,
       c.clear_verified, c.missed, c.missed_reported
FROM visited v
JOIN counted c ON c.month = v.month
ORDER BY v.month
