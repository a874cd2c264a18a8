-- table: people_counts
-- grain: one row per technician, unit, region, season, material and cluster of point-visits, those apart whose unit was past its service date
-- about: How calls held up, for analyses that tell people and units apart.
-- column: site_key | the cluster: the site, see visits, or its number after division by the circumstance_groups of params
-- column: n | point-visits
-- column: active | those of them called active
-- column: active_verified | those of these that a decisive finding tells about; clear_verified likewise
-- column: confirmed | point-visits called active where activity was found by looking
-- column: missed | point-visits called clear where activity was found by looking
SELECT v.month, v.technician_id, v.unit_id, v.unit_overdue, v.region, v.season, v.material, v.site_key % p.circumstance_groups AS site_key,
       count(*) AS n, count(*) FILTER (WHERE v.call = 'active') AS active,
       count(*) FILTER (WHERE v.call = 'active' AND v.verified_by = 'decisive') AS active_verified,
       count(*) FILTER (WHERE v.call = 'active' AND v.verified_by = 'decisive' AND v.truth = 'active') AS confirmed,
       count(*) FILTER (WHERE v.call = 'clear' AND v.verified_by = 'decisive') AS clear_verified,
       count(*) FILTER (WHERE v.call = 'clear' AND v.verified_by = 'decisive' AND v.truth = 'active') AS missed
FROM point_visits v
CROSS JOIN params p
GROUP BY v.month, v.technician_id, v.unit_id, v.unit_overdue, v.region, v.season, v.material, v.site_key % p.circumstance_groups
ORDER BY v.month, v.technician_id, v.unit_id, v.unit_overdue, v.region, v.season, v.material, site_key
