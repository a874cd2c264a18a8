-- name: log_match
-- title: Which readings have a hold in the unit's log, and which holds a reading?
-- question: Of the readings written down, how many does the unit's own log show; of the holds it logged, how many were written down; and how far was its clock off?
-- grain: one row per month and unit that has ever handed in a log
-- reads: log_matches, log_offsets, log_spells
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: unit_id | unit
-- column: month | YYYY-MM, of the unit-day
-- column: readings | readings = matched + no_log + ambiguous
-- column: matched | readings with a hold of their own
-- column: no_log | readings without one
-- column: day_without_log | of these, on a unit-day for which there is no log at all, so that nothing can be said
-- column: ambiguous | readings that two holds fit, or that share a hold with another
-- column: holds | holds = holds_matched + unrecorded + holds_ambiguous + outside
-- column: holds_matched | holds with a reading
-- column: unrecorded | holds within 15 minutes of an inspection with the unit that nobody wrote down
-- column: holds_ambiguous | holds that an ambiguous reading fits
-- column: outside | holds outside any inspection with the unit
-- column: days | unit-days with a log
-- column: days_known | of these, with a clock offset that at least three readings agree on
-- column: days_off | of these, with an offset of at least logs.offset_say_s
-- column: largest_offset_s | the offset furthest from 0 among days_off, in seconds; positive where the unit's clock is slow
-- column: overlapping | samples with the head live in stretches shorter than a hold: many of them where a clock was set back over time already logged
-- caveat: An offset that differs within one day, as where a clock is set right at noon, is not found; holds of the smaller part of the day then stay unmatched.
-- caveat: A hold that nobody wrote down may be a trial, a passing-by or a reading left out: it is to be asked about and proves nothing.
WITH matches AS (
    SELECT unit_id, substr(CAST(unit_day AS VARCHAR), 1, 7) AS month,
           count(*) FILTER (WHERE reading_id IS NOT NULL) AS readings,
           count(*) FILTER (WHERE status = 'matched') AS matched,
           count(*) FILTER (WHERE status = 'no_log') AS no_log,
           count(*) FILTER (WHERE status = 'no_log' AND NOT logged) AS day_without_log,
           count(*) FILTER (WHERE status = 'ambiguous' AND reading_id IS NOT NULL) AS ambiguous,
           count(*) FILTER (WHERE hold_no IS NOT NULL) AS holds,
           count(*) FILTER (WHERE status = 'unrecorded') AS unrecorded,
           count(*) FILTER (WHERE status = 'ambiguous' AND reading_id IS NULL) AS holds_ambiguous,
           count(*) FILTER (WHERE status = 'outside') AS outside
    FROM log_matches
    GROUP BY unit_id, substr(CAST(unit_day AS VARCHAR), 1, 7)
), days AS (
    SELECT unit_id, substr(CAST(unit_day AS VARCHAR), 1, 7) AS month, count(*) AS days, count(*) FILTER (WHERE known) AS days_known,
           count(*) FILTER (WHERE said) AS days_off, arg_max(offset_s, (abs(offset_s), offset_s)) FILTER (WHERE said) AS largest_offset_s
    FROM log_offsets
    GROUP BY unit_id, substr(CAST(unit_day AS VARCHAR), 1, 7)
), short AS (
    SELECT unit_id, substr(CAST(unit_day AS VARCHAR), 1, 7) AS month, CAST(sum(short_stretches) AS BIGINT) AS overlapping
    FROM log_spells
    GROUP BY unit_id, substr(CAST(unit_day AS VARCHAR), 1, 7)
)
SELECT unit_id, month, coalesce(m.readings, 0) AS readings, coalesce(m.matched, 0) AS matched, coalesce(m.no_log, 0) AS no_log,
       coalesce(m.day_without_log, 0) AS day_without_log, coalesce(m.ambiguous, 0) AS ambiguous, coalesce(m.holds, 0) AS holds,
       coalesce(m.matched, 0) AS holds_matched, coalesce(m.unrecorded, 0) AS unrecorded, coalesce(m.holds_ambiguous, 0) AS holds_ambiguous,
       coalesce(m.outside, 0) AS outside, coalesce(d.days, 0) AS days, coalesce(d.days_known, 0) AS days_known, coalesce(d.days_off, 0) AS days_off,
       d.largest_offset_s, coalesce(o.overlapping, 0) AS overlapping
FROM matches m
FULL JOIN days d USING (unit_id, month)
LEFT JOIN short o USING (unit_id, month)
WHERE month BETWEEN $from AND $to
ORDER BY unit_id, month
