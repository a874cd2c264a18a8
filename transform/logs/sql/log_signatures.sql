-- table: log_signatures
-- grain: one row per hold that moved for over quiet_share of its time
-- about: What the movement looks like; nothing here says what made it, and no look tells that it was alive.
-- column: unit_id | key, with unit_day and hold_no
-- column: unit_day | see log_hours
-- column: hold_no | see log_holds
-- column: gain_before | gain of the hold before it, where that ended within hold_gap_s of its start; otherwise null
-- column: period_s | dominant period, seconds (Lomb-Scargle); null here and in the next five where it was not looked for
-- column: explained | share of the squares of the level that a sine of that period explains
-- column: g | Fisher's g: the largest ordinate of the periodogram as a share of their sum
-- column: white_p | chance of g from white noise
-- column: p | chance of the largest ordinate over its background, so that bursts and drifts do not count as periods
-- column: steadiness | how well the phase holds through the hold, from 0 to 1
-- column: full_share | share of samples with a full scale
-- column: early_share | share of the samples of the first onset_s seconds that lie above the noise band
-- column: late_share | the same of those after; null where there are none
-- column: trace | the highest level in each of up to 160 even parts of the hold, whole percent; a part without a sample is -
WITH before AS (
    SELECT unit_id, unit_day, hold_no,
           CASE WHEN epoch_us(started_at) - lag(epoch_us(ended_at)) OVER w <= p.hold_gap_s * 1000000 THEN lag(gain) OVER w END AS gain_before
    FROM log_chunk_holds
    CROSS JOIN log_params p
    WINDOW w AS (PARTITION BY unit_id, unit_day ORDER BY hold_no)
)
SELECT d.unit_id, CAST(d.unit_day AS DATE) AS unit_day, CAST(d.hold_no AS INTEGER) AS hold_no, b.gain_before, d.period_s, d.explained, d.g, d.white_p, d.p, d.steadiness,
       d.full_share, d.early_share, d.late_share, d.trace
FROM log_described d
JOIN before b ON b.unit_id = d.unit_id AND b.unit_day = CAST(d.unit_day AS DATE) AND b.hold_no = d.hold_no
ORDER BY d.unit_id, d.unit_day, d.hold_no
