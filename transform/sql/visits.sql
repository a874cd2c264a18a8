-- table: visits
-- grain: one row per inspection
-- about: When and where an inspection was, in the region's own time, season and weather bands. The edges of
--        the bands are the house's choice.
-- column: inspection_id | key
-- column: site_key | a number that stands for the site: half of the id's MD5 (RFC 1321), without the sign
-- column: month | YYYY-MM, local to the region
-- column: season_scheme | as in the regions record set
-- column: season | by the region's season scheme
-- column: season_year | a season that spans New Year belongs to the year of its January
-- column: local_date | date of the start, local to the region
-- column: local_hour | hour of the start, 0 to 23, local to the region
-- column: utc_offset_min | minutes that the region's time was ahead of UTC then
-- column: accredited | yes, no or unknown, on the local date
-- column: temp_band | air temperature, degrees Celsius
-- column: wind_band | wind, km/h
WITH placed AS (
    SELECT i.*, r.season_scheme, r.latitude, r.hazard, t.accredited_until,
           i.started_at AT TIME ZONE r.time_zone AS started_local, r.time_zone
    FROM held_inspections i
    JOIN held_regions r ON r.region = i.region
    JOIN held_technicians t ON t.technician_id = i.technician_id
), dated AS (
    SELECT p.*, CAST(p.started_local AS DATE) AS local_date
    FROM placed p
)
SELECT p.inspection_id, p.site_id, CAST(md5_number_lower(p.site_id) >> 1 AS BIGINT) AS site_key, p.region, p.technician_id, p.purpose, p.recheck_of, p.outcome, p.started_at, p.ended_at,
       p.local_date, extract(hour FROM p.started_local) AS local_hour, p.time_zone,
       date_diff('minute', p.started_at AT TIME ZONE 'UTC', p.started_local) AS utc_offset_min,
       substr(CAST(p.local_date AS VARCHAR), 1, 7) AS month,
       p.season_scheme, s.season, CAST(extract(year FROM p.local_date) AS INTEGER) + s.year_shift AS season_year,
       p.latitude, p.hazard,
       CASE WHEN p.accredited_until IS NULL THEN 'unknown' WHEN p.accredited_until >= p.local_date THEN 'yes' ELSE 'no' END AS accredited,
       p.air_temp_c, p.wind_kmh, p.rain,
       CASE WHEN p.air_temp_c IS NULL THEN 'unknown' WHEN p.air_temp_c < 10 THEN 'under 10' WHEN p.air_temp_c < 20 THEN '10 to 19'
            WHEN p.air_temp_c < 30 THEN '20 to 29' ELSE '30 and over' END AS temp_band,
       CASE WHEN p.wind_kmh IS NULL THEN 'unknown' WHEN p.wind_kmh < 15 THEN 'under 15' WHEN p.wind_kmh < 30 THEN '15 to 29'
            WHEN p.wind_kmh < 45 THEN '30 to 44' ELSE '45 and over' END AS wind_band,
       p.areas_not_inspected
FROM dated p
JOIN season_months s ON s.season_scheme = p.season_scheme AND s.month_no = extract(month FROM p.local_date)
ORDER BY p.inspection_id
