-- table: visit_counts
-- grain: one row per combination of circumstances, call and truth of point-visits
-- about: The count table that analyses of calls read; their cost does not grow with the readings below.
-- column: n | point-visits
SELECT month, region, season, season_year, technician_id, purpose, unit_id, model, material, density_class, thickness_band, gain,
       call, called_elsewhere, truth, verified_by, count(*) AS n
FROM point_visits
GROUP BY month, region, season, season_year, technician_id, purpose, unit_id, model, material, density_class, thickness_band, gain,
         call, called_elsewhere, truth, verified_by
ORDER BY month, region, season, season_year, technician_id, purpose, unit_id, model, material, density_class, thickness_band, gain,
         call, called_elsewhere, truth, verified_by
