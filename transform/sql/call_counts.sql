-- table: call_counts
-- grain: one row per cluster and material, season and region of point-visits; per cluster and model, thickness band, or purpose; "by" says which
-- about: How often movement was called, for analyses by one or two circumstances.
-- column: by | circumstances, model, thickness_band or purpose
-- column: site_key | the cluster: the site, see visits, or its number after division by the site_groups of params
-- column: n | point-visits
-- column: active | those of them called active; unsure likewise
SELECT CASE grouping(material, model, thickness_band, purpose) WHEN 7 THEN 'circumstances' WHEN 11 THEN 'model' WHEN 13 THEN 'thickness_band' WHEN 14 THEN 'purpose' END AS "by",
       month, site_key, material, season, region, model, thickness_band, purpose,
       count(*) AS n, count(*) FILTER (WHERE call = 'active') AS active, count(*) FILTER (WHERE call = 'unsure') AS unsure
FROM (SELECT v.month, v.site_key % p.site_groups AS site_key, v.material, v.season, v.region, v.model, v.thickness_band, v.purpose, v.call FROM point_visits v CROSS JOIN params p)
GROUP BY GROUPING SETS ((month, site_key, material, season, region), (month, site_key, model), (month, site_key, thickness_band), (month, site_key, purpose))
ORDER BY month, "by", site_key, material NULLS FIRST, season NULLS FIRST, region NULLS FIRST, model NULLS FIRST, thickness_band NULLS FIRST, purpose NULLS FIRST
