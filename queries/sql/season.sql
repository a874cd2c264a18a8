-- name: season
-- title: Does the season make a difference
-- question: Do calls of movement, and their confirmation, rise and fall with the time of year, when is the peak, and how sure is that?
-- grain: one row per group of regions and measure; groups are all four-season regions, all wet and dry regions, and each region alone
-- reads: inspection_counts, held_regions, params
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: group | four_season, wet_dry or region
-- column: region | the region, where the group is one
-- column: measure | called_active (of point-visits) or confirmed (of active calls with a decisive finding)
-- column: n | point-visits counted
-- column: events | those called active, or confirmed
-- column: sites | sites they come from; in a book of many thousand sites, the groups of them that are the clusters
-- column: months | distinct local months with a point-visit
-- column: rate | events / n
-- column: design_effect | of the rate, sites as clusters; intervals of the wave are widened by its root where it is above 1
-- column: amplitude_log_odds | half the difference in log odds between the peak and the low of one yearly wave
-- column: amplitude_low | lower end of its 95% interval (delta method), not below 0
-- column: amplitude_high | upper end of it
-- column: odds_ratio | odds at the peak over odds at the low, exp(2 amplitude)
-- column: odds_ratio_low | lower end of its 95% interval
-- column: odds_ratio_high | upper end of it
-- column: peak_day | day of the year of the peak in the group's calendar, 0.5 the middle of 1 January; empty where the wave is no larger than chance gives
-- column: peak_day_low | start of its 95% interval; later than the end where the interval spans New Year
-- column: peak_day_high | end of it
-- column: peak_month | month 1 to 12 of the peak in the group's calendar: local for a region alone, northern for a group
-- column: peak_month_north | the same as a month in the north
-- column: peak_month_south | the same as a month in the south
-- column: p | chance of such a wave without a season: likelihood ratio over the design effect, 2 degrees of freedom (Rao and Scott 1984)
-- column: enough | false under 12 months, under 9 of the months of the year (house's choice), or with too few cases
-- column: why_not | what is missing
-- caveat: One wave a year on the log odds by local day (Stolwijk, Straatman and Zielhuis 1999). A season of another shape, or two peaks a year, is not seen.
-- caveat: Southern days are moved by half a year (182.625 days) within a group, so that summers, and wet seasons, coincide.
-- caveat: No other figure is adjusted for season. What is tested, where and by whom may differ by season too.
-- caveat: Within less than two years a season and a trend cannot be told apart.
WITH measured AS (
    SELECT 'called_active' AS measure, region, site_key, month, local_date, points AS n, active AS events
    FROM inspection_counts
    WHERE points > 0 AND month BETWEEN $from AND $to
    UNION ALL
    SELECT 'confirmed', region, site_key, month, local_date, active_verified, confirmed
    FROM inspection_counts
    WHERE active_verified > 0 AND month BETWEEN $from AND $to
), dated AS (
    SELECT measure, region, month, local_date, sum(n) AS n, sum(events) AS events
    FROM measured
    GROUP BY measure, region, month, local_date
), sited AS (
    SELECT m.measure, m.region, m.site_key % p.site_groups AS site_key, sum(m.n) AS n, sum(m.events) AS events
    FROM measured m
    CROSS JOIN params p
    GROUP BY m.measure, m.region, m.site_key % p.site_groups
), grouped AS (
    SELECT r.region AS of_region, g."group", CASE WHEN g."group" = 'region' THEN r.region END AS region, r.season_scheme IN ('south_four', 'south_wet_dry') AS southern
    FROM held_regions r
    JOIN (VALUES ('region', 'south_four'), ('region', 'north_four'), ('region', 'south_wet_dry'), ('region', 'north_wet_dry'),
                 ('four_season', 'south_four'), ('four_season', 'north_four'), ('wet_dry', 'south_wet_dry'), ('wet_dry', 'north_wet_dry'))
         AS g ("group", season_scheme) ON g.season_scheme = r.season_scheme
), placed AS (
    SELECT g."group", g.region, d.measure, g.southern, d.month, CAST(extract(doy FROM d.local_date) AS INTEGER) AS day, d.n, d.events
    FROM dated d
    JOIN grouped g ON g.of_region = d.region
), by_site AS (
    SELECT g."group", g.region, s.measure, s.site_key, CAST(sum(s.n) AS BIGINT) AS n, CAST(sum(s.events) AS BIGINT) AS events
    FROM sited s
    JOIN grouped g ON g.of_region = s.region
    GROUP BY g."group", g.region, s.measure, s.site_key
), clusters AS (
    SELECT "group", region, measure, count(*) AS sites, sum(events * events) AS events_squared, sum(events * n) AS events_times_n, sum(n * n) AS n_squared
    FROM by_site
    GROUP BY "group", region, measure
), covered AS (
    SELECT "group", region, measure, count(DISTINCT month) AS months, count(DISTINCT substr(month, 6)) AS months_of_year
    FROM placed
    GROUP BY "group", region, measure
)
SELECT p."group", p.region, p.measure, p.southern, p.day, CAST(sum(p.n) AS BIGINT) AS n, CAST(sum(p.events) AS BIGINT) AS events, c.sites,
       CAST(c.events_squared AS BIGINT) AS events_squared, CAST(c.events_times_n AS BIGINT) AS events_times_n, CAST(c.n_squared AS BIGINT) AS n_squared,
       v.months, v.months_of_year
FROM placed p
JOIN clusters c ON c."group" = p."group" AND c.region IS NOT DISTINCT FROM p.region AND c.measure = p.measure
JOIN covered v ON v."group" = p."group" AND v.region IS NOT DISTINCT FROM p.region AND v.measure = p.measure
GROUP BY p."group", p.region, p.measure, p.southern, p.day, c.sites, c.events_squared, c.events_times_n, c.n_squared, v.months, v.months_of_year
ORDER BY p."group", p.region NULLS FIRST, p.measure, p.southern, p.day
