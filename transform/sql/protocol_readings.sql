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
