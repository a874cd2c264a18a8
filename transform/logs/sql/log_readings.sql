-- table: log_readings
-- grain: one row per reading with a unit that has ever handed in a log
-- about: The home of a unit in a month of UTC is the time zone in which it was read most in that month; the unit-day of a
--        reading is that of the hour of UTC it lies in, see log_hours.
-- column: utc_month | months since the year 0
-- column: home | IANA time zone
WITH taken AS (
    SELECT r.unit_id, r.reading_id, r.inspection_id, r.gain, r.taken_at, v.time_zone, year(r.taken_at) * 12 + month(r.taken_at) AS utc_month
    FROM readings r
    JOIN visits v ON v.inspection_id = r.inspection_id
    WHERE r.unit_id IN (SELECT l.unit_id FROM held_unit_log l)
), homes AS (
    SELECT unit_id, utc_month, time_zone, row_number() OVER (PARTITION BY unit_id, utc_month ORDER BY count(*) DESC, time_zone) AS nth
    FROM taken
    GROUP BY unit_id, utc_month, time_zone
)
SELECT r.unit_id, r.reading_id, r.inspection_id, r.gain, r.taken_at, r.utc_month, h.time_zone AS home,
       CAST((to_timestamp(epoch_us(r.taken_at) // 3600000000 * 3600) AT TIME ZONE h.time_zone) - INTERVAL 3 HOUR AS DATE) AS unit_day
FROM taken r
JOIN homes h ON h.unit_id = r.unit_id AND h.utc_month = r.utc_month AND h.nth = 1
ORDER BY r.unit_id, r.taken_at, r.reading_id
