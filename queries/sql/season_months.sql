-- name: season_months
-- title: The months of the year as counted
-- question: How many point-visits fell in each month of the year, and how many were called active or confirmed?
-- grain: one row per group of regions, measure and month of the year
-- reads: inspection_counts, held_regions, params
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: group | four_season, wet_dry or region
-- column: region | the region, where the group is one
-- column: measure | called_active (of point-visits) or confirmed (of active calls with a decisive finding)
-- column: month_of_year | 1 to 12 in the group's calendar: local for a region alone; in a group southern months are moved by six
-- column: n | point-visits counted, all years together
-- column: events | those called active, or confirmed
-- column: sites | sites they come from
-- column: rate | events / n
-- column: low | lower end of the 95% interval, sites as clusters (Korn and Graubard 1998)
-- column: high | upper end of it
-- column: wave | what the wave of the season result gives for the middle of the month; empty where it was not fitted
-- column: enough | false where there are fewer cases than the floor
-- caveat: Raw counts: nothing is adjusted.
WITH measured AS (
    SELECT 'called_active' AS measure, region, site_key, local_date, points AS n, active AS events
    FROM inspection_counts
    WHERE points > 0 AND month BETWEEN $from AND $to
    UNION ALL
    SELECT 'confirmed', region, site_key, local_date, active_verified, confirmed
    FROM inspection_counts
    WHERE active_verified > 0 AND month BETWEEN $from AND $to
), sited AS (
    SELECT m.measure, m.region, m.site_key % p.site_groups AS site_key, extract(month FROM m.local_date) AS month_no, sum(m.n) AS n, sum(m.events) AS events
    FROM measured m
    CROSS JOIN params p
    GROUP BY m.measure, m.region, m.site_key % p.site_groups, extract(month FROM m.local_date)
), by_site AS (
    SELECT g."group", CASE WHEN g."group" = 'region' THEN s.region END AS region, s.measure, CAST((s.month_no + g.moved - 1) % 12 + 1 AS INTEGER) AS month_of_year, s.site_key,
           CAST(sum(s.n) AS BIGINT) AS n, CAST(sum(s.events) AS BIGINT) AS events
    FROM sited s
    JOIN held_regions r ON r.region = s.region
    JOIN (VALUES ('region', 'south_four', 0), ('region', 'north_four', 0), ('region', 'south_wet_dry', 0), ('region', 'north_wet_dry', 0),
                 ('four_season', 'south_four', 6), ('four_season', 'north_four', 0), ('wet_dry', 'south_wet_dry', 6), ('wet_dry', 'north_wet_dry', 0))
         AS g ("group", season_scheme, moved) ON g.season_scheme = r.season_scheme
    GROUP BY g."group", CASE WHEN g."group" = 'region' THEN s.region END, s.measure, CAST((s.month_no + g.moved - 1) % 12 + 1 AS INTEGER), s.site_key
)
SELECT "group", region, measure, month_of_year, CAST(sum(n) AS BIGINT) AS n, CAST(sum(events) AS BIGINT) AS events, count(*) AS sites,
       CAST(sum(events * events) AS BIGINT) AS events_squared, CAST(sum(events * n) AS BIGINT) AS events_times_n, CAST(sum(n * n) AS BIGINT) AS n_squared
FROM by_site
GROUP BY "group", region, measure, month_of_year
ORDER BY "group", region NULLS FIRST, measure, month_of_year
