-- table: stepping_counts
-- grain: one row per technician and cluster with a point-visit
-- about: How points were begun and stepped up; see point_decisions.
-- column: site_key | the cluster: the site, see visits, or its number after division by the site_groups of params
-- column: points | point-visits
-- column: started_elsewhere | those of them that were begun elsewhere than at the unit's starting step
-- column: may_step | those of them with a clear reading that may be stepped up from
-- column: stepped_up | those of these where a higher step followed
-- column: mixes | inspections times materials, models and ranges of unit in each: what mixes of gain steps are made of
WITH mixes AS (
    SELECT r.month, r.technician_id, r.site_key % p.site_groups AS site_key, count(*) AS mixes
    FROM (SELECT DISTINCT month, technician_id, site_key, inspection_id, material, model, gain_min, gain_max FROM reading_cells WHERE NOT control) r
    CROSS JOIN params p
    GROUP BY r.month, r.technician_id, r.site_key % p.site_groups
), points AS (
    SELECT v.month, v.technician_id, v.site_key % p.site_groups AS site_key, count(*) AS points, count(*) FILTER (WHERE v.started_elsewhere) AS started_elsewhere,
           count(v.stepped_up) AS may_step, count(CASE WHEN v.stepped_up THEN 1 END) AS stepped_up
    FROM point_visits v
    CROSS JOIN params p
    GROUP BY v.month, v.technician_id, v.site_key % p.site_groups
)
SELECT c.month, c.technician_id, c.site_key, c.points, c.started_elsewhere, c.may_step, c.stepped_up, m.mixes
FROM points c
JOIN mixes m ON m.month = c.month AND m.technician_id = c.technician_id AND m.site_key = c.site_key
ORDER BY c.month, c.technician_id, c.site_key
