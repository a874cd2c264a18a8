-- table: log_holds
-- grain: one row per hold: the head live at one gain, no gap over hold_gap_s, for at least least_hold_s
-- about: The noise band of a gain is the median of the unit-day's live samples at that gain and band_mads times their
--        median absolute deviation (times 1.4826: Hampel 1974) above it, at least band_least_pct; of all gains where the
--        unit-day has under three stretches at that gain, so that one hold is not measured against itself. What
--        moves most of a day is taken for its noise.
-- column: unit_id | key, with unit_day and hold_no
-- column: unit_day | see log_hours
-- column: hold_no | from 1 in each unit-day, in order of time
-- column: spell_no | the spell it is in
-- column: stretch_no | see log_samples
-- column: started_at | its first sample, by the unit's own clock
-- column: ended_at | its last sample, by the unit's own clock
-- column: hold_s | seconds from the first sample to the last
-- column: gain | gain step
-- column: samples | samples in it
-- column: peak_pct | highest level
-- column: median_pct | median level
-- column: band_pct | upper edge of the noise band
-- column: above | samples above it
-- column: above_share | above / samples: with even sampling, the share of time
-- column: bursts | runs of samples above it
-- column: longest_burst_s | seconds from the first to the last sample of the longest run; 0 where none has two
-- column: battery_start_pct | battery at its first sample that notes it
-- column: battery_end_pct | battery at its last sample that notes it
WITH live AS (
    SELECT day_no, t, gain, level_pct, battery_pct, nth, spell_no, stretch_no FROM log_samples WHERE sensing
), by_gain AS (
    SELECT day_no, gain, count(DISTINCT stretch_no) AS stretches, median(level_pct) AS middle, mad(level_pct) AS spread
    FROM live
    GROUP BY day_no, gain
), by_day AS (
    SELECT day_no, median(level_pct) AS middle, mad(level_pct) AS spread
    FROM live
    GROUP BY day_no
), bands AS (
    SELECT g.day_no, g.gain, CASE WHEN g.stretches >= 3 THEN g.middle + greatest(p.band_mads * 1.4826 * g.spread, p.band_least_pct)
           ELSE d.middle + greatest(p.band_mads * 1.4826 * d.spread, p.band_least_pct) END AS band_pct
    FROM by_gain g
    JOIN by_day d ON d.day_no = g.day_no
    CROSS JOIN log_params p
), above AS (
    SELECT l.day_no, l.stretch_no, l.t, l.nth - row_number() OVER (PARTITION BY l.day_no, l.stretch_no ORDER BY l.t) AS run
    FROM live l
    JOIN bands b ON b.day_no = l.day_no AND b.gain = l.gain
    WHERE l.level_pct > b.band_pct
), runs AS (
    SELECT day_no, stretch_no, count(*) AS samples, max(t) - min(t) AS length
    FROM above
    GROUP BY day_no, stretch_no, run
), bursts AS (
    SELECT day_no, stretch_no, sum(samples) AS above, count(*) AS bursts, max(length) AS longest
    FROM runs
    GROUP BY day_no, stretch_no
), holds AS (
    SELECT l.day_no, l.stretch_no, min(l.spell_no) AS spell_no, min(l.t) AS first_t, max(l.t) AS last_t, min(l.gain) AS gain, count(*) AS samples,
           max(l.level_pct) AS peak_pct, median(l.level_pct) AS median_pct,
           arg_min(l.battery_pct, l.t) FILTER (WHERE l.battery_pct IS NOT NULL) AS battery_start_pct,
           arg_max(l.battery_pct, l.t) FILTER (WHERE l.battery_pct IS NOT NULL) AS battery_end_pct
    FROM live l
    GROUP BY l.day_no, l.stretch_no
    HAVING max(l.t) - min(l.t) >= (SELECT least_hold_s FROM log_params) * 1000000
)
SELECT d.unit_id, d.unit_day, CAST(row_number() OVER (PARTITION BY h.day_no ORDER BY h.stretch_no) AS INTEGER) AS hold_no, CAST(h.spell_no AS INTEGER) AS spell_no, CAST(h.stretch_no AS INTEGER) AS stretch_no,
       make_timestamptz(h.first_t) AS started_at, make_timestamptz(h.last_t) AS ended_at, (h.last_t - h.first_t) / 1e6 AS hold_s,
       h.gain, h.samples, h.peak_pct, h.median_pct, b.band_pct, CAST(coalesce(u.above, 0) AS BIGINT) AS above,
       coalesce(u.above, 0) / CAST(h.samples AS DOUBLE) AS above_share, coalesce(u.bursts, 0) AS bursts, coalesce(u.longest, 0) / 1e6 AS longest_burst_s,
       h.battery_start_pct, h.battery_end_pct
FROM holds h
JOIN bands b ON b.day_no = h.day_no AND b.gain = h.gain
LEFT JOIN bursts u ON u.day_no = h.day_no AND u.stretch_no = h.stretch_no
JOIN log_stale d ON d.day_no = h.day_no
ORDER BY d.unit_id, d.unit_day, hold_no
