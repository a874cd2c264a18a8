-- table: gain_counts
-- grain: one row per cluster, material, gain step, season and region of readings that are not control readings
-- about: How often readings said active at each gain step.
-- column: site_key | the cluster: the site, see visits, or its number after division by the site_groups of params
-- column: readings | readings
-- column: active | those of them that said active; unsure likewise
SELECT r.month, r.site_key % p.site_groups AS site_key, r.material, r.gain, r.season, r.region,
       CAST(sum(r.readings) AS BIGINT) AS readings, CAST(sum(r.active) AS BIGINT) AS active, CAST(sum(r.unsure) AS BIGINT) AS unsure
FROM reading_cells r
CROSS JOIN params p
WHERE NOT r.control
GROUP BY r.month, r.site_key % p.site_groups, r.material, r.gain, r.season, r.region
ORDER BY r.month, site_key, r.material, r.gain, r.season, r.region
