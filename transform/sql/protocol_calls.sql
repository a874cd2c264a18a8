-- table: protocol_calls
-- grain: one row per breach; the chances kept of one check in one inspection are counted together in one row
-- about: Checks whose chance is a call beside what the unit showed: its level, or its log. What each check asks is
--        defined in the table of checks; its settings are columns of params.
-- column: check_id | the check
-- column: reading_id | of a breach; empty for chances kept
-- column: seen | what a breach shows, in words
-- column: n | how many chances the row stands for
WITH judged AS (
    SELECT r.technician_id, r.site_id, r.month, r.local_date, r.inspection_id, r.point_id, r.reading_id, r.material, r.gain, r.level_pct, r.call,
           coalesce(own.threshold, everywhere.threshold) AS threshold
    FROM readings r
    LEFT JOIN level_thresholds own ON own.month = r.month AND own.material = r.material AND own.gain = r.gain
    LEFT JOIN level_thresholds everywhere ON everywhere.month = r.month AND everywhere.material IS NULL
    WHERE NOT r.control AND r.level_pct IS NOT NULL AND r.call IN ('active', 'clear')
), events AS (
    SELECT 'against_level' AS check_id, j.technician_id, j.site_id, j.month, j.local_date, j.inspection_id, j.point_id, j.reading_id,
           CASE WHEN j.call = 'active' THEN j.level_pct < j.threshold - p.level_margin_pct ELSE j.level_pct > j.threshold + p.level_margin_pct END AS breach,
           concat('called ', j.call, ' at level ', j.level_pct, '; the usual threshold on ', j.material, ' at gain ', j.gain, ' is ', j.threshold) AS seen
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
