-- name: log_signatures
-- title: Which movement in the logs looks like interference?
-- question: Which holds moved as something that is not alive would: periodically, only as the hold began, with a full scale, or together with other points?
-- grain: one row per hold that moved and shows at least one of these looks
-- reads: log_signatures, log_holds, log_matches, log_offsets, readings, point_visits, log_params
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: unit_id | unit
-- column: technician_id | who took the reading; empty for a hold without one
-- column: site_id | site; empty for a hold without a reading
-- column: inspection_id | inspection; empty outside any
-- column: point_id | point; empty for a hold without a reading
-- column: reading_id | reading; empty for a hold without one
-- column: date | of the unit-day
-- column: hold_no | hold in the unit-day's log
-- column: call | of the reading: active, clear or unsure; empty for a hold without one
-- column: truth | of the point in that inspection: active, not_active or unverified; empty for a hold without a reading
-- column: hold_s | seconds
-- column: above_share | share of the hold above the noise band
-- column: periodic | movement keeps time: q is at most logs.period_q and steadiness at least logs.period_steady
-- column: period_s | dominant period, seconds (Lomb and Scargle); null here and in the next six where no period was looked for
-- column: explained | share of the squares of the level that a sine of that period explains
-- column: g | Fisher's g: the largest ordinate of the periodogram as a share of their sum
-- column: white_p | chance of g from white noise
-- column: p | chance of the largest ordinate over a background that bursts and drifts would give
-- column: q | p among all holds in which a period was looked for (Benjamini and Hochberg)
-- column: steadiness | how well the phase holds through the hold, from 0 to 1
-- column: onset | gain_change or handling: it moved in its first logs.onset_s seconds and hardly after, and began with another gain or not; otherwise none
-- column: full | the scale was full for over logs.full_share of the hold
-- column: full_share | share of samples with a full scale
-- column: together | other points moved with it: at least logs.together_points of them, and half of those held within logs.together_min minutes
-- column: points_near | other points of the inspection held within that time
-- column: points_moved | of these, points that moved
-- caveat: No look tells that what moved was alive, and none that it was not. Whether a look goes with false alarms is in signature_check.
-- caveat: Sampling several times a second cannot tell a period below twice its step from a longer one.
-- caveat: Only holds that moved are looked at, and a period only in those long enough, see logs.period_samples and logs.period_cycles.
WITH written AS (
    SELECT * FROM readings WHERE reading_id IN (SELECT reading_id FROM log_matches)
), called AS (
    SELECT * FROM point_visits WHERE inspection_id IN (SELECT inspection_id FROM log_matches)
), matched AS (
    SELECT m.unit_id, m.unit_day, m.hold_no, m.inspection_id, r.point_id, h.above_share > p.quiet_share AS moved,
           epoch_ms(h.started_at) / 1000.0 + o.offset_s AS second
    FROM log_matches m
    JOIN log_holds h ON h.unit_id = m.unit_id AND h.unit_day = m.unit_day AND h.hold_no = m.hold_no
    JOIN log_offsets o ON o.unit_id = m.unit_id AND o.unit_day = m.unit_day
    JOIN written r ON r.reading_id = m.reading_id
    CROSS JOIN log_params p
    WHERE m.status = 'matched'
), near AS (
    SELECT a.unit_id, a.unit_day, a.hold_no, count(DISTINCT b.point_id) AS points, count(DISTINCT b.point_id) FILTER (WHERE b.moved) AS moved
    FROM matched a
    JOIN matched b ON b.inspection_id = a.inspection_id AND b.point_id <> a.point_id
    CROSS JOIN log_params p
    WHERE a.moved AND abs(b.second - a.second) <= 60 * p.together_min
    GROUP BY a.unit_id, a.unit_day, a.hold_no
)
SELECT s.unit_id, coalesce(r.technician_id, '') AS technician_id, coalesce(r.site_id, '') AS site_id, coalesce(m.inspection_id, '') AS inspection_id,
       coalesce(r.point_id, '') AS point_id, coalesce(m.reading_id, '') AS reading_id, CAST(s.unit_day AS VARCHAR) AS "date", s.hold_no, coalesce(r.call, '') AS call,
       CASE WHEN r.reading_id IS NULL THEN '' ELSE coalesce(v.truth, 'unverified') END AS truth, h.hold_s, h.above_share,
       s.period_s, s.explained, s.g, s.white_p, s.p, s.steadiness,
       CASE WHEN s.early_share < p.strong_share OR s.late_share IS NULL OR s.late_share > p.quiet_share THEN 'none' WHEN s.gain_before <> h.gain THEN 'gain_change' ELSE 'handling' END AS onset,
       s.full_share, s.full_share > p.full_share AS "full",
       coalesce(n.moved >= p.together_points AND 2 * n.moved >= n.points, false) AS together, coalesce(n.points, 0) AS points_near, coalesce(n.moved, 0) AS points_moved
FROM log_signatures s
JOIN log_holds h ON h.unit_id = s.unit_id AND h.unit_day = s.unit_day AND h.hold_no = s.hold_no
JOIN log_matches m ON m.unit_id = s.unit_id AND m.unit_day = s.unit_day AND m.hold_no = s.hold_no
LEFT JOIN written r ON r.reading_id = m.reading_id
LEFT JOIN called v ON v.inspection_id = r.inspection_id AND v.point_id = r.point_id AND NOT r.control
LEFT JOIN near n ON n.unit_id = s.unit_id AND n.unit_day = s.unit_day AND n.hold_no = s.hold_no
CROSS JOIN log_params p
WHERE substr(CAST(s.unit_day AS VARCHAR), 1, 7) BETWEEN $from AND $to
ORDER BY s.unit_id, s.unit_day, s.hold_no
