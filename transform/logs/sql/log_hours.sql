-- table: log_hours
-- grain: one row per unit and hour of UTC in which it wrote samples
-- about: One pass over all samples, to tell which unit-days are new. A unit belongs to no region; its home
--        is told by its readings, and is UTC where there are none. A unit-day is made of whole hours of UTC and begins at 3 in the
--        morning of its home, when nobody inspects; so no working day is cut, at midnight or by a change of clocks.
-- column: hour_no | hours since 1970
-- column: unit_day | date
-- column: fingerprint | sum of the hashes of its samples: the same in any order
WITH homes AS (
    SELECT DISTINCT unit_id, home FROM log_readings
), hours AS (
    SELECT unit_id, epoch_us(logged_at) // 3600000000 AS hour_no, count(*) AS samples,
           sum(hash(logged_at, sensing, gain, level_pct, battery_pct)) AS fingerprint
    FROM held_unit_log
    GROUP BY ALL
)
SELECT h.unit_id, h.hour_no, h.samples, h.fingerprint,
       CAST((to_timestamp(h.hour_no * 3600) AT TIME ZONE coalesce(p.home, 'UTC')) - INTERVAL 3 HOUR AS DATE) AS unit_day
FROM hours h
LEFT JOIN homes p ON p.unit_id = h.unit_id
ORDER BY h.unit_id, h.hour_no
