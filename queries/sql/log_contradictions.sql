-- name: log_contradictions
-- title: Where does a unit's log say something else than what was written?
-- question: Which calls, gains, levels and hold times does the unit's own log contradict, and which holds did nobody write down?
-- grain: one row per contradiction
-- reads: log_matches, log_holds, readings, visits
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: kind | active_without_movement, clear_with_movement, short_hold, other_gain, other_level or unrecorded_hold
-- column: unit_id | unit
-- column: technician_id | who made the inspection
-- column: site_id | site
-- column: inspection_id | inspection
-- column: point_id | point; empty for a hold that nobody wrote down
-- column: reading_id | reading; empty for a hold that nobody wrote down
-- column: date | of the unit-day
-- column: hold_no | hold in the unit-day's log
-- column: written | what the reading says: the call, seconds, gain step or percent
-- column: logged | what the log says: share above the noise band, seconds, gain step or percent
-- caveat: A contradiction is to be asked about. The log shows what the sensor met, not what it was held on.
-- caveat: Movement is the share of a hold above the noise band of the unit-day at that gain; where most of a day's holds moved, the band is too high and movement is missed.
-- caveat: Movement in the log is no finding: what moved is not known from it.
WITH matched AS (
    SELECT m.unit_id, r.technician_id, r.site_id, r.inspection_id, r.point_id, r.reading_id, m.unit_day, m.hold_no, m.same_gain,
           r.call, r.gain AS written_gain, r.hold_s AS written_hold_s, r.level_pct, h.gain, h.hold_s, h.peak_pct, h.above_share
    FROM log_matches m
    JOIN log_holds h ON h.unit_id = m.unit_id AND h.unit_day = m.unit_day AND h.hold_no = m.hold_no
    JOIN readings r ON r.reading_id = m.reading_id
    WHERE m.status = 'matched'
), found AS (
    SELECT 'active_without_movement' AS kind, m.*, call AS written, above_share AS logged FROM matched m CROSS JOIN log_params p
    WHERE call = 'active' AND above_share <= p.quiet_share
    UNION ALL
    SELECT 'clear_with_movement', m.*, call, above_share FROM matched m CROSS JOIN log_params p
    WHERE call = 'clear' AND above_share >= p.strong_share
    UNION ALL
    SELECT 'short_hold', m.*, CAST(written_hold_s AS VARCHAR), hold_s FROM matched m CROSS JOIN log_params p
    WHERE hold_s < written_hold_s - p.short_by_s
    UNION ALL
    SELECT 'other_gain', m.*, CAST(written_gain AS VARCHAR), gain FROM matched m
    WHERE NOT same_gain
    UNION ALL
    SELECT 'other_level', m.*, CAST(level_pct AS VARCHAR), peak_pct FROM matched m CROSS JOIN log_params p
    WHERE abs(level_pct - peak_pct) > p.level_by_pct
), every AS (
    SELECT kind, unit_id, technician_id, site_id, inspection_id, point_id, reading_id, unit_day, hold_no, written, logged
    FROM found
    UNION ALL
    SELECT 'unrecorded_hold', m.unit_id, v.technician_id, v.site_id, m.inspection_id, '', '', m.unit_day, m.hold_no, '', h.hold_s
    FROM log_matches m
    JOIN log_holds h ON h.unit_id = m.unit_id AND h.unit_day = m.unit_day AND h.hold_no = m.hold_no
    JOIN visits v ON v.inspection_id = m.inspection_id
    WHERE m.status = 'unrecorded'
)
SELECT kind, unit_id, technician_id, site_id, inspection_id, point_id, reading_id, CAST(unit_day AS VARCHAR) AS "date", hold_no, written, logged
FROM every
WHERE substr(CAST(unit_day AS VARCHAR), 1, 7) BETWEEN $from AND $to
ORDER BY kind, unit_id, unit_day, hold_no, reading_id
