-- name: region_standardised
-- title: Regions on one material mix
-- question: How often is movement called in each region, raw and as it would be with the whole business's mix of materials?
-- grain: one row per region
-- reads: call_counts
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: region | the region
-- column: point_visits | points tested, once per inspection
-- column: active | those called active
-- column: sites | sites they come from; in a book of many thousand sites, the groups of them that are the clusters
-- column: raw_rate | active / point_visits
-- column: raw_low | lower end of its 95% interval, sites as clusters (Korn and Graubard 1998)
-- column: raw_high | upper end of it
-- column: standardised_rate | rates by material weighted by the share of all regions' point-visits on that material (direct standardisation, Breslow and Day 1987)
-- column: standardised_low | lower end of its 95% interval, sites as clusters across materials, weights taken as known
-- column: standardised_high | upper end of it
-- column: difference | standardised_rate less raw_rate: what the mix of materials makes of the raw rate
-- column: materials_missing | materials tested at fewer than 5 sites of the region (house's choice), left out
-- column: weight_covered | share of the business's mix that the other materials are; their weights are raised to sum to 1
-- column: enough | false where the count or the precision is too small to show, or weight_covered is under 0.9 (house's choice)
-- column: why_not | the reason for holding the rates back
-- caveat: Standardised for material and for nothing else: thickness, gain, season and who calls may still differ.
-- caveat: A standardised rate serves comparison between regions. It is not what was called in the region; the raw rate is.
WITH cells AS (
    SELECT region, site_key, material, sum(n) AS n, sum(active) AS active
    FROM call_counts
    WHERE call_counts."by" = 'circumstances' AND month BETWEEN $from AND $to
    GROUP BY region, site_key, material
), sites AS (
    SELECT region, count(DISTINCT site_key) AS sites
    FROM cells
    GROUP BY region
)
SELECT a.region, a.material, b.material AS other, s.sites, count(*) AS sites_of_pair, CAST(sum(a.n) AS BIGINT) AS n, CAST(sum(a.active) AS BIGINT) AS active,
       CAST(sum(a.active * b.active) AS BIGINT) AS active_times_active, CAST(sum(a.active * b.n) AS BIGINT) AS active_times_n,
       CAST(sum(a.n * b.active) AS BIGINT) AS n_times_active, CAST(sum(a.n * b.n) AS BIGINT) AS n_times_n
FROM cells a
JOIN cells b ON b.region = a.region AND b.site_key = a.site_key
JOIN sites s ON s.region = a.region
GROUP BY a.region, a.material, b.material, s.sites
ORDER BY a.region, a.material, b.material
