-- name: signature_check
-- title: Do looks of interference go with false alarms?
-- question: Of active calls that a decisive finding tells about and whose readings the log shows, how many were false alarms with each look, and how many without?
-- grain: one row per look
-- reads: point_visits, readings, log_matches, log_signatures
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: look | periodic, handling, gain_change, full, together, or any of these
-- column: calls | checked active calls with at least one active reading matched with a hold
-- column: with | calls with an active reading whose hold has the look
-- column: with_false | of these, false alarms
-- column: with_rate | share, with sites as clusters
-- column: with_low | 95 % interval of it
-- column: with_high | 95 % interval of it
-- column: with_enough | there are enough of them to show the rate
-- column: without | calls without the look
-- column: without_false | of these, false alarms
-- column: without_rate | share, with sites as clusters
-- column: without_low | 95 % interval of it
-- column: without_high | 95 % interval of it
-- column: without_enough | there are enough of them to show the rate
-- column: difference | with_rate less without_rate
-- column: difference_low | 95 % interval of it, by square-and-add of both intervals (Zou and Donner 2008)
-- column: difference_high | 95 % interval of it
-- column: says | more or fewer where both have enough and the interval of the difference leaves out 0; otherwise not_shown, or too_few
-- caveat: Only calls of units with a log are in this, and only those that somebody looked into.
-- caveat: A look that goes with false alarms here is a reason to hold again, never a reason to call a point clear.
WITH matched AS (
    SELECT reading_id, inspection_id, unit_id, unit_day, hold_no FROM log_matches WHERE status = 'matched'
), called AS (
    SELECT * FROM point_visits
    WHERE call = 'active' AND verified_by = 'decisive' AND month BETWEEN $from AND $to AND inspection_id IN (SELECT inspection_id FROM matched)
)
SELECT v.site_id, v.inspection_id, v.point_id, v.false_alarm, m.unit_id, CAST(m.unit_day AS VARCHAR) AS unit_day, m.hold_no
FROM called v
JOIN readings r ON r.inspection_id = v.inspection_id AND r.point_id = v.point_id AND r.call = 'active' AND NOT r.control
JOIN matched m ON m.reading_id = r.reading_id
ORDER BY v.site_id, v.inspection_id, v.point_id, m.unit_id, m.unit_day, m.hold_no
