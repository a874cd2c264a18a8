-- table: readings
-- grain: one row per reading
-- about: A reading with the circumstances of its visit, unit and material. The edges of the bands are the
--        house's choice. It is never written: these_readings are the readings held, or those of the month at hand,
--        and what a query does not ask for costs nothing.
-- column: reading_id | key
-- column: gain_share | position of the gain step in the unit's range, 0 lowest to 1 highest
-- column: thickness_band | millimetres
-- column: hour_band | local hours, by the clock as it stood when the inspection began
-- column: hold_band | seconds
-- column: level_band | percent of full scale
-- column: battery_band | percent
-- column: days_since_service | days from the unit's coming into service, as its newest record says, to the local date
-- column: unit_overdue | yes, no or unknown: the unit's service was due before the local date
-- column: control | true for a reading on a place known to be clear
WITH placed AS (
    SELECT r.*, v.site_id, v.site_key, v.region, v.technician_id, v.purpose, v.month, v.season, v.season_year, v.local_date, v.temp_band, v.wind_band,
           v.rain, u.model, u.gain_min, u.gain_max, u.gain_start, u.service_due_on, u.in_service_on,
           m.density_class, m.gain_low, m.gain_high,
           (epoch_ms(r.taken_at) // 60000 + v.utc_offset_min) // 60 % 24 AS local_hour
    FROM these_readings r
    JOIN visits v ON v.inspection_id = r.inspection_id
    JOIN held_units u ON u.unit_id = r.unit_id
    JOIN held_materials m ON m.material = r.material
)
SELECT p.reading_id, p.inspection_id, p.site_id, p.site_key, p.point_id, p.region, p.technician_id, p.purpose, p.unit_id, p.model,
       p.taken_at, p.month, p.season, p.season_year, p.local_date, p.material, p.density_class, p.thickness_mm,
       CASE WHEN p.thickness_mm IS NULL THEN 'unknown' WHEN p.thickness_mm <= 15 THEN 'up to 15' WHEN p.thickness_mm <= 30 THEN 'over 15 to 30'
            WHEN p.thickness_mm <= 60 THEN 'over 30 to 60' WHEN p.thickness_mm <= 120 THEN 'over 60 to 120' ELSE 'over 120' END AS thickness_band,
       p.gain, p.gain_min, p.gain_max, p.gain_start, p.gain_low, p.gain_high,
       CASE WHEN p.gain_max = p.gain_min THEN 0.0 ELSE (p.gain - p.gain_min) * 1.0 / (p.gain_max - p.gain_min) END AS gain_share,
       p.hold_s,
       CASE WHEN p.hold_s IS NULL THEN 'unknown' WHEN p.hold_s < 10 THEN 'under 10' WHEN p.hold_s < 20 THEN '10 to 19'
            WHEN p.hold_s < 40 THEN '20 to 39' ELSE '40 and over' END AS hold_band,
       p.level_pct,
       CASE WHEN p.level_pct IS NULL THEN 'unknown' WHEN p.level_pct < 20 THEN 'under 20' WHEN p.level_pct < 40 THEN '20 to 39'
            WHEN p.level_pct < 60 THEN '40 to 59' WHEN p.level_pct < 80 THEN '60 to 79' ELSE '80 and over' END AS level_band,
       p.call, p.battery_pct,
       CASE WHEN p.battery_pct IS NULL THEN 'unknown' WHEN p.battery_pct < 20 THEN 'under 20' WHEN p.battery_pct < 50 THEN '20 to 49'
            ELSE '50 and over' END AS battery_band,
       coalesce(p.control, false) AS control,
       date_diff('day', p.in_service_on, p.local_date) AS days_since_service,
       CASE WHEN p.service_due_on IS NULL THEN 'unknown' WHEN p.service_due_on < p.local_date THEN 'yes' ELSE 'no' END AS unit_overdue,
       p.temp_band, p.wind_band, p.rain,
       CASE WHEN p.local_hour < 6 THEN '00 to 05' WHEN p.local_hour < 9 THEN '06 to 08' WHEN p.local_hour < 12 THEN '09 to 11'
            WHEN p.local_hour < 15 THEN '12 to 14' WHEN p.local_hour < 18 THEN '15 to 17' ELSE '18 to 23' END AS hour_band
FROM placed p
