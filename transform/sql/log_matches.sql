-- table: log_matches
-- grain: one row per reading with a unit that has ever handed in a log, and one per hold that no reading is matched with
-- about: A reading and a hold are of one unit, lie within match_s of each other once the unit-day's clock offset is
--        taken off, and are each other's nearest: first among those of the same gain, then, of what is left, of any gain. A reading with two holds of its
--        gain that lie equally near (within ambiguous_s) is ambiguous, and so are those holds where no other reading takes them.
-- column: unit_id | unit
-- column: unit_day | see log_hours
-- column: reading_id | null for a hold without a reading
-- column: inspection_id | of the reading, or in whose time the hold lies; null outside any inspection
-- column: hold_no | null for a reading without a hold
-- column: status | of a reading: matched, no_log or ambiguous; of a hold: matched, unrecorded, ambiguous or outside
-- column: logged | the unit wrote a log on that unit-day
-- column: same_gain | the gain written is that logged; null where nothing is matched
-- column: apart_s | seconds from the hold's end, its clock put right, to the reading
WITH placed AS (
    SELECT h.unit_id, h.unit_day, h.hold_no, h.gain,
           epoch_ms(h.started_at) + 1000 * o.offset_s AS first_ms, epoch_ms(h.ended_at) + 1000 * o.offset_s AS last_ms
    FROM log_holds h
    JOIN log_offsets o ON o.unit_id = h.unit_id AND o.unit_day = h.unit_day
), pairs AS (
    SELECT h.unit_id, h.unit_day, h.hold_no, r.reading_id, h.gain = r.gain AS same_gain,
           epoch_ms(r.taken_at) - h.last_ms AS apart, abs(epoch_ms(r.taken_at) - h.last_ms) AS far
    FROM placed h
    JOIN log_readings r ON r.unit_id = h.unit_id AND r.unit_day = h.unit_day
    CROSS JOIN log_params p
    WHERE epoch_ms(r.taken_at) BETWEEN least(h.first_ms, h.last_ms - 1000 * p.match_s) AND h.last_ms + 1000 * p.match_s
), ranked AS (
    SELECT *, row_number() OVER (PARTITION BY reading_id ORDER BY far, hold_no) AS nth_hold,
           row_number() OVER (PARTITION BY unit_id, unit_day, hold_no ORDER BY far, reading_id) AS nth_reading
    FROM pairs
    WHERE same_gain
), nearest AS (
    SELECT r.*, lead(far) OVER (PARTITION BY reading_id ORDER BY nth_hold) - far AS next_hold,
           lead(nth_reading) OVER (PARTITION BY reading_id ORDER BY nth_hold) AS next_is_ours,
           abs(far - lead(far) OVER (PARTITION BY unit_id, unit_day, hold_no ORDER BY nth_reading)) AS next_reading,
           abs(far - lag(far) OVER (PARTITION BY unit_id, unit_day, hold_no ORDER BY nth_reading)) AS last_reading
    FROM ranked r
), judged AS (
    SELECT n.*, n.nth_hold = 1 AND (coalesce(n.next_hold <= 1000 * p.ambiguous_s AND n.next_is_ours = 1, false)
           OR coalesce(n.next_reading <= 1000 * p.ambiguous_s, false) OR (n.nth_reading > 1 AND coalesce(n.last_reading <= 1000 * p.ambiguous_s, false))) AS ambiguous
    FROM nearest n
    CROSS JOIN log_params p
), ambiguous AS (
    SELECT DISTINCT reading_id FROM judged WHERE ambiguous
), by_gain AS (
    SELECT unit_id, unit_day, hold_no, reading_id, apart FROM judged WHERE nth_hold = 1 AND nth_reading = 1 AND NOT ambiguous
), left_over AS (
    SELECT q.*, row_number() OVER (PARTITION BY q.reading_id ORDER BY q.far, q.hold_no) AS nth_hold,
           row_number() OVER (PARTITION BY q.unit_id, q.unit_day, q.hold_no ORDER BY q.far, q.reading_id) AS nth_reading
    FROM pairs q
    WHERE NOT q.same_gain
      AND NOT EXISTS (SELECT 1 FROM by_gain g WHERE g.reading_id = q.reading_id)
      AND NOT EXISTS (SELECT 1 FROM ambiguous a WHERE a.reading_id = q.reading_id)
      AND NOT EXISTS (SELECT 1 FROM by_gain g WHERE g.unit_id = q.unit_id AND g.unit_day = q.unit_day AND g.hold_no = q.hold_no)
), matched AS (
    SELECT *, true AS same_gain FROM by_gain
    UNION ALL
    SELECT unit_id, unit_day, hold_no, reading_id, apart, false FROM left_over WHERE nth_hold = 1 AND nth_reading = 1
), doubtful AS (
    SELECT DISTINCT n.unit_id, n.unit_day, n.hold_no
    FROM ranked n
    JOIN ambiguous a ON a.reading_id = n.reading_id
    WHERE n.nth_hold <= 2
), times AS (
    SELECT r.unit_id, r.inspection_id, epoch_ms(v.started_at) - 900000 AS first_ms,
           greatest(epoch_ms(coalesce(v.ended_at, v.started_at)), max(epoch_ms(r.taken_at))) + 900000 AS last_ms
    FROM log_readings r
    JOIN visits v ON v.inspection_id = r.inspection_id
    GROUP BY r.unit_id, r.inspection_id, v.started_at, v.ended_at
), within AS (
    SELECT h.unit_id, h.unit_day, h.hold_no, min(t.inspection_id) AS inspection_id
    FROM placed h
    JOIN times t ON t.unit_id = h.unit_id AND h.first_ms <= t.last_ms AND h.last_ms >= t.first_ms
    GROUP BY h.unit_id, h.unit_day, h.hold_no
)
SELECT r.unit_id, r.unit_day, r.reading_id, r.inspection_id, m.hold_no,
       CASE WHEN m.hold_no IS NOT NULL THEN 'matched' WHEN a.reading_id IS NOT NULL THEN 'ambiguous' ELSE 'no_log' END AS status,
       d.unit_day IS NOT NULL AS logged, m.same_gain, m.apart / 1000.0 AS apart_s
FROM log_readings r
LEFT JOIN matched m ON m.reading_id = r.reading_id
LEFT JOIN ambiguous a ON a.reading_id = r.reading_id
LEFT JOIN log_days d ON d.unit_id = r.unit_id AND d.unit_day = r.unit_day
UNION ALL
SELECT h.unit_id, h.unit_day, NULL, w.inspection_id, h.hold_no,
       CASE WHEN d.hold_no IS NOT NULL THEN 'ambiguous' WHEN w.inspection_id IS NOT NULL THEN 'unrecorded' ELSE 'outside' END,
       true, NULL, NULL
FROM placed h
LEFT JOIN doubtful d ON d.unit_id = h.unit_id AND d.unit_day = h.unit_day AND d.hold_no = h.hold_no
LEFT JOIN within w ON w.unit_id = h.unit_id AND w.unit_day = h.unit_day AND w.hold_no = h.hold_no
WHERE NOT EXISTS (SELECT 1 FROM matched m WHERE m.unit_id = h.unit_id AND m.unit_day = h.unit_day AND m.hold_no = h.hold_no)
ORDER BY 1, 2, hold_no NULLS LAST, reading_id NULLS LAST
