-- table: protocol_calls
-- grain: one row per breach; the chances kept of one check in one inspection are counted together in one row
-- about: Checks whose chance is a call beside what the unit showed: its level, or its log. What each check asks is
--        defined in the table of checks; its settings are columns of params.
-- column: check_id | the check
-- column: reading_id | of a breach; empty for chances kept
-- column: seen | what a breach shows, in words
-- column: n | how many chances the row stands for
WITH judged AS (
    SELECT r.inspection_id, r.point_id, r.reading_id, r.material, r.gain, r.level_pct, r.call, coalesce(own.threshold, everywhere.threshold) AS threshold
    FROM these_readings r
    JOIN visits v ON v.inspection_id = r.inspection_id
    LEFT JOIN level_thresholds own ON own.month = v.month AND own.material = r.material AND own.gain = r.gain
    LEFT JOIN level_thresholds everywhere ON everywhere.month = v.month AND everywhere.material IS NULL
    WHERE NOT coalesce(r.control, false) AND r.level_pct IS NOT NULL AND r.call IN ('active', 'clear')
), levels AS (
    SELECT j.*, CASE WHEN j.call = 'active' THEN j.level_pct < j.threshold - p.level_margin_pct ELSE j.level_pct > j.threshold + p.level_margin_pct END AS breach
    FROM judged j
    CROSS JOIN params p
    WHERE j.threshold IS NOT NULL
), logs AS (
    SELECT r.inspection_id, r.point_id, r.reading_id, r.call, h.above, h.samples,
           CASE WHEN r.call = 'active' THEN h.above_share <= l.quiet_share ELSE h.above_share >= l.strong_share END AS breach
    FROM log_matches m
    JOIN log_holds h ON h.unit_id = m.unit_id AND h.unit_day = m.unit_day AND h.hold_no = m.hold_no
    JOIN these_readings r ON r.reading_id = m.reading_id
    CROSS JOIN log_params l
    WHERE m.status = 'matched' AND r.call IN ('active', 'clear')
), events AS (
    SELECT 'against_level' AS check_id, inspection_id, CAST(NULL AS VARCHAR) AS point_id, CAST(NULL AS VARCHAR) AS reading_id, false AS breach, CAST(NULL AS VARCHAR) AS seen, count(*) AS n
    FROM levels
    WHERE NOT breach
    GROUP BY inspection_id
    UNION ALL
    SELECT 'against_log', inspection_id, NULL, NULL, false, NULL, count(*)
    FROM logs
    WHERE NOT breach
    GROUP BY inspection_id
    UNION ALL
    SELECT 'against_level', inspection_id, point_id, reading_id, true,
           concat('called ', call, ' at level ', level_pct, '; the usual threshold on ', material, ' at gain ', gain, ' is ', threshold), 1
    FROM levels
    WHERE breach
    UNION ALL
    SELECT 'against_log', inspection_id, point_id, reading_id, true,
           concat('called ', call, '; ', above, ' of ', samples, ' samples of the hold were above the noise band'), 1
    FROM logs
    WHERE breach
)
SELECT e.check_id, v.technician_id, v.site_id, v.month, v.local_date, e.inspection_id, e.point_id, e.reading_id, e.breach, e.seen, e.n
FROM events e
JOIN visits v ON v.inspection_id = e.inspection_id
ORDER BY v.month, e.inspection_id, e.check_id, e.breach, e.point_id, e.reading_id
