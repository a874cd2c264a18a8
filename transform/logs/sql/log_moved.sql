-- table: log_moved
-- grain: one row per sample of the holds of the chunk being made that moved for over quiet_share of their time
-- about: Read once, hold by hold, by what describes movement; not kept.
-- column: unit_id | key, with unit_day and hold_no
-- column: unit_day | see log_hours
-- column: hold_no | see log_holds
-- column: t | seconds since the hold's first sample
-- column: level_pct | level
-- column: band_pct | upper edge of the hold's noise band
SELECT h.unit_id, CAST(h.unit_day AS VARCHAR) AS unit_day, h.hold_no, (s.t - epoch_us(h.started_at)) / 1e6 AS t, s.level_pct, h.band_pct
FROM log_samples s
JOIN log_stale d ON d.day_no = s.day_no
JOIN log_chunk_holds h ON h.unit_id = d.unit_id AND h.unit_day = d.unit_day AND h.stretch_no = s.stretch_no
CROSS JOIN log_params p
WHERE s.sensing AND h.above_share > p.quiet_share
ORDER BY h.unit_id, h.unit_day, h.hold_no, s.t
