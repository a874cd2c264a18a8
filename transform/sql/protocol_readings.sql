-- table: protocol_readings
-- grain: one row per breach; the chances kept of one check in one inspection are counted together in one row
-- about: Checks whose chance is a reading, or a reading and the one before it with the same unit. What each
--        check asks is defined in the table of checks; its settings are columns of params.
-- column: check_id | the check
-- column: reading_id | of a breach; empty for chances kept
-- column: seen | what a breach shows, in words
-- column: n | how many chances the row stands for
WITH spaced AS (
    SELECT r.inspection_id, r.point_id, r.reading_id, epoch_ms(r.taken_at) AS at_ms, r.hold_s,
           lag(epoch_ms(r.taken_at)) OVER w AS before_ms, lag(r.hold_s) OVER w AS before_hold, lag(r.point_id) OVER w AS before_point
    FROM these_readings r
    WINDOW w AS (PARTITION BY r.inspection_id, r.unit_id ORDER BY r.taken_at, r.reading_id)
), noted AS (
    -- Times in whole minutes tell nothing about gaps.
    SELECT s.inspection_id, bool_or(s.at_ms % 60000 <> 0) AS to_the_second
    FROM spaced s
    GROUP BY s.inspection_id
), apart AS (
    SELECT s.inspection_id, s.point_id, s.reading_id, s.hold_s, s.before_point, s.before_ms IS NOT NULL AND n.to_the_second AS timed,
           (s.at_ms - s.before_ms) / 1000.0 AS gap_s,
           least(coalesce(s.hold_s, 0), coalesce(s.before_hold, 0)) + CASE WHEN s.before_point <> s.point_id THEN p.move_s ELSE 0 END AS needed_s
    FROM spaced s
    JOIN noted n ON n.inspection_id = s.inspection_id
    CROSS JOIN params p
), judged AS (
    -- short and close: whether the check was breached, or null where there was no chance.
    SELECT a.*, a.hold_s < p.hold_s AS short, CASE WHEN a.timed THEN a.gap_s + 1 < a.needed_s END AS close
    FROM apart a
    CROSS JOIN params p
), kept AS (
    SELECT inspection_id, count(*) FILTER (WHERE NOT short) AS holds, count(*) FILTER (WHERE NOT close) AS gaps
    FROM judged
    GROUP BY inspection_id
), events AS (
    SELECT 'short_hold' AS check_id, inspection_id, CAST(NULL AS VARCHAR) AS point_id, CAST(NULL AS VARCHAR) AS reading_id, false AS breach, CAST(NULL AS VARCHAR) AS seen, holds AS n
    FROM kept
    WHERE holds > 0
    UNION ALL
    SELECT 'too_close', inspection_id, NULL, NULL, false, NULL, gaps
    FROM kept
    WHERE gaps > 0
    UNION ALL
    SELECT 'short_hold', inspection_id, point_id, reading_id, true, concat('held ', hold_s, ' s'), 1
    FROM judged
    WHERE short
    UNION ALL
    SELECT 'too_close', inspection_id, point_id, reading_id, true,
           concat(gap_s, ' s after a reading of ', CASE WHEN before_point = point_id THEN 'the same point' ELSE concat('point ', before_point) END,
                  '; the hold', CASE WHEN before_point = point_id THEN ' takes' ELSE ' and the way take' END, ' at least ', needed_s, ' s'), 1
    FROM judged
    WHERE close
)
SELECT e.check_id, v.technician_id, v.site_id, v.month, v.local_date, e.inspection_id, e.point_id, e.reading_id, e.breach, e.seen, e.n
FROM events e
JOIN visits v ON v.inspection_id = e.inspection_id
ORDER BY v.month, e.inspection_id, e.check_id, e.breach, e.point_id, e.reading_id
