-- name: season_months
-- title: The months of the year as counted
-- question: How many point-visits fell in each month of the year, and how many were called active or confirmed?
-- grain: one row per group of regions, measure and month of the year
-- reads: point_visits, visits
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
    SELECT 'called_active' AS measure, inspection_id, count(*) AS n, count(*) FILTER (WHERE call = 'active') AS events
    FROM point_visits
    GROUP BY inspection_id
    UNION ALL
    SELECT 'confirmed', inspection_id, count(*), count(*) FILTER (WHERE truth = 'active')
    FROM point_visits
    WHERE call = 'active' AND verified_by = 'decisive'
    GROUP BY inspection_id
), placed AS (
    SELECT g."group", CASE WHEN g."group" = 'region' THEN v.region END AS region, m.measure, v.site_key, m.n, m.events,
           CAST((extract(month FROM v.local_date) + g.moved - 1) % 12 + 1 AS INTEGER) AS month_of_year
    FROM measured m
    JOIN visits v ON v.inspection_id = m.inspection_id
    JOIN (VALUES ('region', 'south_four', 0), ('region', 'north_four', 0), ('region', 'south_wet_dry', 0), ('region', 'north_wet_dry', 0),
                 ('four_season', 'south_four', 6), ('four_season', 'north_four', 0), ('wet_dry', 'south_wet_dry', 6), ('wet_dry', 'north_wet_dry', 0))
         AS g ("group", season_scheme, moved) ON g.season_scheme = v.season_scheme
    WHERE v.month BETWEEN $from AND $to
), by_site AS (
    SELECT "group", region, measure, month_of_year, site_key, CAST(sum(n) AS BIGINT) AS n, CAST(sum(events) AS BIGINT) AS events
    FROM placed
    GROUP BY "group", region, measure, month_of_year, site_key
)
SELECT "group", region, measure, month_of_year, CAST(sum(n) AS BIGINT) AS n, CAST(sum(events) AS BIGINT) AS events, count(*) AS sites,
       CAST(sum(events * events) AS BIGINT) AS events_squared, CAST(sum(events * n) AS BIGINT) AS events_times_n, CAST(sum(n * n) AS BIGINT) AS n_squared
FROM by_site
GROUP BY "group", region, measure, month_of_year
ORDER BY "group", region NULLS FIRST, measure, month_of_year
