-- table: protocol_readings
-- grain: one row per breach; the chances kept of one check in one inspection are counted together in one row
-- about: Checks whose chance is a reading, or a reading and the one before it with the same unit. What each
--        check asks is defined in the table of checks; its settings are columns of params.
-- column: check_id | the check
-- column: reading_id | of a breach; empty for chances kept
-- column: seen | what a breach shows, in words
-- column: n | how many chances the row stands for
WITH spaced AS (
    SELECT r.technician_id, r.site_id, r.month, r.local_date, r.inspection_id, r.point_id, r.reading_id, r.taken_at, r.hold_s, lag(r.taken_at) OVER w AS before_at, lag(r.hold_s) OVER w AS before_hold, lag(r.point_id) OVER w AS before_point,
           bool_or(extract(second FROM r.taken_at) <> 0) OVER (PARTITION BY r.inspection_id) AS to_the_second
    FROM readings r
    WINDOW w AS (PARTITION BY r.inspection_id, r.unit_id ORDER BY r.taken_at, r.reading_id)
), apart AS (
    SELECT s.*, date_diff('millisecond', s.before_at, s.taken_at) / 1000.0 AS gap_s,
           least(coalesce(s.hold_s, 0), coalesce(s.before_hold, 0)) + CASE WHEN s.before_point <> s.point_id THEN p.move_s ELSE 0 END AS needed_s
    FROM spaced s
    CROSS JOIN params p
    WHERE s.before_at IS NOT NULL AND s.to_the_second
), called AS (
    SELECT r.material, r.gain, CAST(floor(r.level_pct) AS INTEGER) AS level, r.call
    FROM readings r
    WHERE NOT r.control AND r.level_pct IS NOT NULL AND r.call IN ('active', 'clear')
), levels AS (
    SELECT c.material, c.gain, c.level, count(*) FILTER (WHERE c.call = 'active') AS active, count(*) FILTER (WHERE c.call = 'clear') AS clear
    FROM called c
    GROUP BY c.material, c.gain, c.level
    UNION ALL
    SELECT NULL, NULL, c.level, count(*) FILTER (WHERE c.call = 'active'), count(*) FILTER (WHERE c.call = 'clear')
    FROM called c
    GROUP BY c.level
), summed AS (
    SELECT l.material, l.gain, l.level, lag(l.level) OVER w AS below,
           sum(l.active) OVER s AS all_active, sum(l.clear) OVER s AS all_clear,
           sum(l.active) OVER w - l.active AS active_below, sum(l.clear) OVER w - l.clear AS clear_below
    FROM levels l
    WINDOW s AS (PARTITION BY l.material, l.gain), w AS (PARTITION BY l.material, l.gain ORDER BY l.level)
), parted AS (
    -- How well "active from this level on" parts the calls: Youden's index (1950) times both counts.
    SELECT s.*, (s.all_active - s.active_below) * s.all_clear - (s.all_clear - s.clear_below) * s.all_active AS parts
    FROM summed s
    CROSS JOIN params p
    WHERE s.all_active >= p.level_cases AND s.all_clear >= p.level_cases
), best AS (
    SELECT t.*, max(t.parts) OVER (PARTITION BY t.material, t.gain) AS most
    FROM parted t
), thresholds AS (
    -- Between the level that parts best and the next one below that occurs; calls that hardly follow the level have none.
    SELECT b.material, b.gain, (min(coalesce(b.below + 1, b.level)) + max(b.level)) / 2.0 AS threshold
    FROM best b
    WHERE b.parts = b.most AND 2 * b.most >= b.all_active * b.all_clear
    GROUP BY b.material, b.gain
), judged AS (
    SELECT r.technician_id, r.site_id, r.month, r.local_date, r.inspection_id, r.point_id, r.reading_id, r.material, r.gain, r.level_pct, r.call,
           coalesce(own.threshold, everywhere.threshold) AS threshold
    FROM readings r
    LEFT JOIN thresholds own ON own.material = r.material AND own.gain = r.gain
    LEFT JOIN thresholds everywhere ON everywhere.material IS NULL
    WHERE NOT r.control AND r.level_pct IS NOT NULL AND r.call IN ('active', 'clear')
), events AS (
    SELECT 'short_hold' AS check_id, r.technician_id, r.site_id, r.month, r.local_date, r.inspection_id, r.point_id, r.reading_id,
           r.hold_s < p.hold_s AS breach, concat('held ', r.hold_s, ' s') AS seen
    FROM readings r
    CROSS JOIN params p
    WHERE r.hold_s IS NOT NULL
    UNION ALL
    SELECT 'too_close', a.technician_id, a.site_id, a.month, a.local_date, a.inspection_id, a.point_id, a.reading_id,
           a.gap_s + 1 < a.needed_s, concat(a.gap_s, ' s after a reading of ', CASE WHEN a.before_point = a.point_id THEN 'the same point' ELSE concat('point ', a.before_point) END,
                                            '; the hold', CASE WHEN a.before_point = a.point_id THEN ' takes' ELSE ' and the way take' END, ' at least ', a.needed_s, ' s')
    FROM apart a
    UNION ALL
    SELECT 'against_level', j.technician_id, j.site_id, j.month, j.local_date, j.inspection_id, j.point_id, j.reading_id,
           CASE WHEN j.call = 'active' THEN j.level_pct < j.threshold - p.level_margin_pct ELSE j.level_pct > j.threshold + p.level_margin_pct END,
           concat('called ', j.call, ' at level ', j.level_pct, '; the usual threshold on ', j.material, ' at gain ', j.gain, ' is ', j.threshold)
    FROM judged j
    CROSS JOIN params p
    WHERE j.threshold IS NOT NULL
    UNION ALL
    SELECT 'against_log', r.technician_id, r.site_id, r.month, r.local_date, r.inspection_id, r.point_id, r.reading_id,
           CASE WHEN r.call = 'active' THEN h.above_share <= l.quiet_share ELSE h.above_share >= l.strong_share END,
           concat('called ', r.call, '; ', h.above, ' of ', h.samples, ' samples of the hold were above the noise band')
    FROM log_matches m
    JOIN log_holds h ON h.unit_id = m.unit_id AND h.unit_day = m.unit_day AND h.hold_no = m.hold_no
    JOIN readings r ON r.reading_id = m.reading_id
    CROSS JOIN log_params l
    WHERE m.status = 'matched' AND r.call IN ('active', 'clear')
), parts AS (
    SELECT e.check_id, e.technician_id, e.site_id, e.month, e.local_date, e.inspection_id, e.breach,
           CASE WHEN e.breach THEN e.point_id END AS point_id, CASE WHEN e.breach THEN e.reading_id END AS reading_id,
           CASE WHEN e.breach THEN e.seen END AS seen
    FROM events e
)
SELECT t.check_id, t.technician_id, t.site_id, t.month, t.local_date, t.inspection_id, t.point_id, t.reading_id, t.breach, t.seen, count(*) AS n
FROM parts t
GROUP BY t.check_id, t.technician_id, t.site_id, t.month, t.local_date, t.inspection_id, t.point_id, t.reading_id, t.breach, t.seen
ORDER BY t.month, t.inspection_id, t.check_id, t.breach, t.point_id, t.reading_id
