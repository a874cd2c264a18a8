-- table: log_readings
-- grain: one row per reading
-- about: The home of a unit is the time zone in which it was read most; the unit-day of a reading is that of the hour
--        of UTC it lies in, see log_hours.
-- column: home | IANA time zone
WITH homes AS (
    SELECT r.unit_id, v.time_zone, row_number() OVER (PARTITION BY r.unit_id ORDER BY count(*) DESC, v.time_zone) AS nth
    FROM readings r
    JOIN visits v ON v.inspection_id = r.inspection_id
    GROUP BY r.unit_id, v.time_zone
)
SELECT r.unit_id, r.reading_id, r.inspection_id, r.gain, r.taken_at, h.time_zone AS home,
       CAST((to_timestamp(epoch_us(r.taken_at) // 3600000000 * 3600) AT TIME ZONE h.time_zone) - INTERVAL 3 HOUR AS DATE) AS unit_day
FROM readings r
JOIN homes h ON h.unit_id = r.unit_id AND h.nth = 1
ORDER BY r.unit_id, r.taken_at, r.reading_id
