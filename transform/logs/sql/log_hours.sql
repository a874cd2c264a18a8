-- table: log_hours
-- grain: one row per unit and hour of UTC in which it wrote samples
-- about: One pass over all samples, to tell which unit-days are new. A unit belongs to no region: its home is the
--        time zone in which it was read most. A unit-day is made of whole hours of UTC and begins at 3 in the
--        morning of its home, when nobody inspects; so no working day is cut, at midnight or by a change of clocks.
-- column: hour_no | hours since 1970
-- column: unit_day | date
-- column: fingerprint | sum of the hashes of its samples: the same in any order
WITH places AS (
    SELECT r.unit_id, v.time_zone, row_number() OVER (PARTITION BY r.unit_id ORDER BY count(*) DESC, v.time_zone) AS nth
    FROM readings r
    JOIN visits v ON v.inspection_id = r.inspection_id
    GROUP BY r.unit_id, v.time_zone
), hours AS (
    SELECT unit_id, epoch_us(logged_at) // 3600000000 AS hour_no, count(*) AS samples,
           sum(hash(logged_at, sensing, gain, level_pct, battery_pct)) AS fingerprint
    FROM held_unit_log
    GROUP BY ALL
)
SELECT h.unit_id, h.hour_no, h.samples, h.fingerprint,
       CAST((to_timestamp(h.hour_no * 3600) AT TIME ZONE coalesce(p.time_zone, 'UTC')) - INTERVAL 3 HOUR AS DATE) AS unit_day
FROM hours h
LEFT JOIN places p ON p.unit_id = h.unit_id AND p.nth = 1
ORDER BY h.unit_id, h.hour_no
