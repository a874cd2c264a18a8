-- name: log_habits
-- title: How are units used, by their own logs?
-- question: How long does a charge last, does a unit that nobody uses shut down, and is it left sensing?
-- grain: one row per unit
-- reads: log_spells, log_holds
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: unit_id | unit
-- column: days | unit-days with a log
-- column: spells | power-on spells
-- column: hours_on | hours in them
-- column: hours_sensing | hours in holds, the head live
-- column: charge_days | unit-days whose spells use battery and do not charge it
-- column: charge_hours | hours of use that one charge would give at the rate it fell on them
-- column: charge_low | lower end of its 95% interval, unit-days as clusters
-- column: charge_high | upper end of it
-- column: charge | as usual, shorter, longer, or too few: shorter or longer only where the whole interval is outside charge_low_h to charge_high_h
-- column: idle_spells | spells that go on for at least half of idle_min after the last live sample
-- column: idle_over | of these, for more than one and a half times idle_min: the unit did not shut down by itself
-- column: idle_median_min | median minutes from the last live sample to the end of idle_spells
-- column: idle_low | lower end of its 95% interval (Thompson 1936, by ranks)
-- column: idle_high | upper end of it
-- column: left_on | holds longer than left_on_min: nobody holds a unit on one point for so long
-- column: left_on_hours | hours in them
-- caveat: That a charge lasts 8 to 10 hours of use and that an idle unit shuts down after half an hour is common practice, no source; the configuration sets what is usual in the house.
-- caveat: A battery that rises within a spell is being charged; such unit-days say nothing about a charge.
WITH spells AS (
    SELECT s.*, date_diff('millisecond', started_at, ended_at) AS ms, last_sensing_s / 60 AS idle_min_seen,
           CAST(round(1000 * (battery_start_pct - battery_end_pct)) AS BIGINT) AS drop_milli
    FROM log_spells s
    WHERE substr(CAST(unit_day AS VARCHAR), 1, 7) BETWEEN $from AND $to
), by_day AS (
    SELECT s.unit_id, s.unit_day, count(*) AS spells, CAST(sum(s.ms) AS BIGINT) AS ms,
           coalesce(min(s.drop_milli) >= 0 AND sum(s.drop_milli) > 0, false) AS charged,
           CAST(coalesce(sum(s.ms) FILTER (WHERE s.drop_milli IS NOT NULL), 0) AS BIGINT) AS battery_ms,
           CAST(coalesce(sum(s.drop_milli), 0) AS BIGINT) AS drop_milli,
           count(*) FILTER (WHERE s.idle_min_seen > 1.5 * p.idle_min) AS idle_over,
           array_sort(array_agg(s.idle_min_seen) FILTER (WHERE s.idle_min_seen >= 0.5 * p.idle_min)) AS idles
    FROM spells s
    CROSS JOIN log_params p
    GROUP BY s.unit_id, s.unit_day
), holds AS (
    SELECT h.unit_id, h.unit_day, CAST(sum(date_diff('millisecond', h.started_at, h.ended_at)) AS BIGINT) AS ms,
           count(*) FILTER (WHERE h.hold_s > 60 * p.left_on_min) AS left_on,
           CAST(coalesce(sum(date_diff('millisecond', h.started_at, h.ended_at)) FILTER (WHERE h.hold_s > 60 * p.left_on_min), 0) AS BIGINT) AS left_on_ms
    FROM log_holds h
    CROSS JOIN log_params p
    GROUP BY h.unit_id, h.unit_day
)
SELECT d.unit_id, d.spells, d.ms, d.charged, d.battery_ms, d.drop_milli, d.idle_over, coalesce(array_to_string(d.idles, ' '), '') AS idles,
       coalesce(h.ms, 0) AS sensing_ms, coalesce(h.left_on, 0) AS left_on, coalesce(h.left_on_ms, 0) AS left_on_ms
FROM by_day d
LEFT JOIN holds h ON h.unit_id = d.unit_id AND h.unit_day = d.unit_day
ORDER BY d.unit_id, d.unit_day
