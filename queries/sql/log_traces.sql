-- name: log_traces
-- title: What units logged in inspections with a page
-- question: How did the level move in each hold that a unit logged in an inspection that is looked at?
-- grain: one row per hold matched with a reading of an inspection with a page, or within its time
-- reads: log_matches, log_holds, log_offsets, log_signatures, readings, visits
-- param: chosen | the inspections with a page, one a line
-- column: inspection_id | inspection
-- column: unit_id | unit
-- column: date | of the unit-day
-- column: hold_no | hold in the unit-day's log
-- column: minute | minutes since the start of the visit at which the hold began, the unit's clock put right
-- column: status | matched, unrecorded or ambiguous
-- column: reading_id | reading; empty for a hold without one
-- column: point_id | point of the reading, see inspection_readings; empty for a hold without a reading
-- column: call | active, clear or unsure; empty for a hold without a reading
-- column: gain | gain step logged
-- column: hold_s | seconds
-- column: peak_pct | highest level
-- column: band_pct | upper edge of the noise band
-- column: above_share | share of the hold above the noise band
-- column: offset_s | seconds that the unit's clock was put right by
-- column: trace | the highest level in each of up to 160 even parts of the hold, whole percent; empty where it did not move
-- caveat: Only of inspections with a page; flagged_inspections lists all that were flagged.
SELECT m.inspection_id, m.unit_id, CAST(m.unit_day AS VARCHAR) AS "date", m.hold_no,
       (epoch_ms(h.started_at) / 1000.0 + o.offset_s - epoch_ms(v.started_at) / 1000.0) / 60 AS "minute",
       m.status, coalesce(m.reading_id, '') AS reading_id,
       h.gain, h.hold_s, h.peak_pct, h.band_pct, h.above_share, o.offset_s, coalesce(s.trace, '') AS trace
FROM log_matches m
JOIN visits v ON v.inspection_id = m.inspection_id
JOIN log_holds h ON h.unit_id = m.unit_id AND h.unit_day = m.unit_day AND h.hold_no = m.hold_no
JOIN log_offsets o ON o.unit_id = m.unit_id AND o.unit_day = m.unit_day
LEFT JOIN log_signatures s ON s.unit_id = m.unit_id AND s.unit_day = m.unit_day AND s.hold_no = m.hold_no
WHERE list_contains(string_split($chosen, chr(10)), m.inspection_id)
ORDER BY m.inspection_id, "minute", m.unit_id, m.unit_day, m.hold_no
