-- table: log_hours
-- grain: one row per unit and hour of UTC in which it wrote samples
-- about: One pass over all samples, to tell which unit-days are new. A unit belongs to no region; its home
--        in a month is told by its readings of that month, or of all others, and is UTC where there are none. A unit-day is made of whole hours of UTC and begins at 3 in the
--        morning of its home, when nobody inspects; so no working day is cut, at midnight or by a change of clocks.
-- column: hour_no | hours since 1970
-- column: unit_day | date
-- column: fingerprint | sum of the hashes of its samples: the same in any order
WITH homes AS (
    SELECT DISTINCT unit_id, utc_month, home FROM log_readings
), usual AS (
    SELECT unit_id, home, row_number() OVER (PARTITION BY unit_id ORDER BY count(*) DESC, home) AS nth
    FROM log_readings
    GROUP BY unit_id, home
), hours AS (
    SELECT unit_id, epoch_us(logged_at) // 3600000000 AS hour_no, count(*) AS samples,
           sum(hash(logged_at, sensing, gain, level_pct, battery_pct)) AS fingerprint
    FROM held_unit_log
    GROUP BY ALL
)
SELECT h.unit_id, h.hour_no, h.samples, h.fingerprint,
       CAST((to_timestamp(h.hour_no * 3600) AT TIME ZONE coalesce(p.home, u.home, 'UTC')) - INTERVAL 3 HOUR AS DATE) AS unit_day
FROM hours h
LEFT JOIN homes p ON p.unit_id = h.unit_id AND p.utc_month = year(to_timestamp(h.hour_no * 3600)) * 12 + month(to_timestamp(h.hour_no * 3600))
LEFT JOIN usual u ON u.unit_id = h.unit_id AND u.nth = 1
ORDER BY h.unit_id, h.hour_no
