-- table: log_offsets
-- grain: one row per unit and unit-day with a log
-- about: How far the clock of a unit was off. Every reading is set against every hold of its gain within offset_most_s;
--        the half minute of differences in which most of them fall is the offset, and its median the figure. One
--        near zero stands unless another has a quarter more, since inspections have a beat.
-- column: offset_s | seconds to add to the unit's clock; from a hold's end to its reading, so the time it takes to write is in it
-- column: agreeing | pairs of a reading and a hold in that half minute
-- column: known | at least three agree; else the offset is 0
-- column: said | known and at least offset_say_s
WITH pairs AS (
    SELECT h.unit_id, h.unit_day, epoch_ms(r.taken_at) - epoch_ms(h.ended_at) AS apart
    FROM log_holds h
    JOIN log_readings r ON r.unit_id = h.unit_id AND r.unit_day = h.unit_day AND r.gain = h.gain
    CROSS JOIN log_params p
    WHERE epoch_ms(r.taken_at) - epoch_ms(h.ended_at) BETWEEN -1000 * p.offset_most_s AND 1000 * p.offset_most_s
), bins AS (
    SELECT unit_id, unit_day, CAST(floor(apart / 15000.0) AS INTEGER) AS bin, count(*) AS n
    FROM pairs
    GROUP BY unit_id, unit_day, CAST(floor(apart / 15000.0) AS INTEGER)
), sums AS (
    SELECT unit_id, unit_day, bin,
           n + CASE WHEN lead(bin) OVER w = bin + 1 THEN lead(n) OVER w ELSE 0 END AS agreeing
    FROM bins
    WINDOW w AS (PARTITION BY unit_id, unit_day ORDER BY bin)
), far AS (
    SELECT *, bin BETWEEN -3 AND 2 AS near,
           max(agreeing) OVER (PARTITION BY unit_id, unit_day) AS most,
           coalesce(max(CASE WHEN bin BETWEEN -3 AND 2 THEN agreeing END) OVER (PARTITION BY unit_id, unit_day), 0) AS most_near
    FROM sums
), best AS (
    SELECT *, row_number() OVER (PARTITION BY unit_id, unit_day ORDER BY agreeing DESC, abs(bin), bin) AS nth
    FROM far
    WHERE near OR most_near * 5 < most * 4
), figures AS (
    SELECT b.unit_id, b.unit_day, b.agreeing, median(p.apart) / 1000.0 AS offset_s
    FROM best b
    JOIN pairs p ON p.unit_id = b.unit_id AND p.unit_day = b.unit_day AND p.apart >= 15000 * b.bin AND p.apart < 15000 * (b.bin + 2)
    WHERE b.nth = 1
    GROUP BY b.unit_id, b.unit_day, b.agreeing
)
SELECT d.unit_id, d.unit_day, CASE WHEN f.agreeing >= 3 THEN f.offset_s ELSE 0 END AS offset_s,
       coalesce(f.agreeing, 0) AS agreeing, coalesce(f.agreeing >= 3, false) AS known,
       coalesce(f.agreeing >= 3 AND abs(f.offset_s) >= p.offset_say_s, false) AS said
FROM log_days d
LEFT JOIN figures f ON f.unit_id = d.unit_id AND f.unit_day = d.unit_day
CROSS JOIN log_params p
ORDER BY d.unit_id, d.unit_day
