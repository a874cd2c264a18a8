-- table: visit_counts
-- grain: one row per combination of circumstances, call and truth of point-visits
-- about: Calls by their circumstances, for analyses that need no cluster; those that do have count tables of their own.
-- column: n | point-visits
SELECT month, region, season, season_year, technician_id, purpose, unit_id, model, material, density_class, thickness_band, gain,
       call, called_elsewhere, truth, verified_by, count(*) AS n
FROM point_visits
GROUP BY month, region, season, season_year, technician_id, purpose, unit_id, model, material, density_class, thickness_band, gain,
         call, called_elsewhere, truth, verified_by
ORDER BY month, region, season, season_year, technician_id, purpose, unit_id, model, material, density_class, thickness_band, gain,
         call, called_elsewhere, truth, verified_by
