-- table: accuracy_counts
-- grain: one row per cluster, material, density class, whether another visit called the point active, and one more circumstance of point-visits called active or clear; "by" says which
-- about: How calls held up, within the strata that corrected rates are made in.
-- column: by | gain, season+region, model or thickness_band
-- column: site_key | the cluster: the site, see visits, or its number after division by the circumstance_groups of params
-- column: confirmed | called active, activity found by looking; confirmed_reported: by a report or a return visit only
-- column: false_alarms | called active, none found by looking
-- column: active_unverified | called active, and no decisive finding; clear_unverified likewise
-- column: missed | called clear, activity found by looking; missed_reported: by a report or a return visit only
-- column: cleared | called clear, none found by looking
WITH calls AS (
    SELECT v.month, v.site_key % p.circumstance_groups AS site_key, v.material, v.density_class, v.called_elsewhere, v.gain, v.season, v.region, v.model, v.thickness_band,
           v.call, v.truth, v.verified_by
    FROM point_visits v
    CROSS JOIN params p
    WHERE v.call IN ('active', 'clear')
)
SELECT CASE grouping(gain, region, model, thickness_band) WHEN 7 THEN 'gain' WHEN 11 THEN 'season+region' WHEN 13 THEN 'model' WHEN 14 THEN 'thickness_band' END AS "by",
       month, site_key, material, density_class, called_elsewhere, gain, season, region, model, thickness_band,
       count(*) FILTER (WHERE call = 'active' AND verified_by = 'decisive' AND truth = 'active') AS confirmed,
       count(*) FILTER (WHERE call = 'active' AND verified_by = 'decisive' AND truth <> 'active') AS false_alarms,
       count(*) FILTER (WHERE call = 'active' AND verified_by <> 'decisive') AS active_unverified,
       count(*) FILTER (WHERE call = 'active' AND verified_by = 'report' AND truth = 'active') AS confirmed_reported,
       count(*) FILTER (WHERE call = 'clear' AND verified_by = 'decisive' AND truth = 'active') AS missed,
       count(*) FILTER (WHERE call = 'clear' AND verified_by = 'decisive' AND truth <> 'active') AS cleared,
       count(*) FILTER (WHERE call = 'clear' AND verified_by <> 'decisive') AS clear_unverified,
       count(*) FILTER (WHERE call = 'clear' AND verified_by = 'report' AND truth = 'active') AS missed_reported
FROM calls
GROUP BY GROUPING SETS ((month, site_key, material, density_class, called_elsewhere, gain), (month, site_key, material, density_class, called_elsewhere, season, region),
                        (month, site_key, material, density_class, called_elsewhere, model), (month, site_key, material, density_class, called_elsewhere, thickness_band))
ORDER BY month, "by", site_key, material, density_class, called_elsewhere, gain NULLS FIRST, season NULLS FIRST, region NULLS FIRST, model NULLS FIRST, thickness_band NULLS FIRST
