-- table: gain_mixes
-- grain: one row per inspection, or cluster where sites are grouped, with material, model and range of the unit and gain step
-- about: Which gain steps were used on what, for readings that are not control readings.
-- column: inspection_id | null where sites are grouped
-- column: site_key | the cluster: the site, see visits, or its number after division by the pooled_groups of params
-- column: gain_share | position of the gain step in the unit's range, 0 lowest to 1 highest
-- column: readings | readings
WITH placed AS (
    SELECT r.month, r.technician_id, CASE WHEN NOT p.sites_grouped THEN r.inspection_id END AS inspection_id, r.site_key % p.pooled_groups AS site_key,
           r.material, coalesce(r.model, '') AS model, r.gain_min, r.gain_max, r.gain, r.gain_share, r.readings
    FROM reading_cells r
    CROSS JOIN params p
    WHERE NOT r.control
)
SELECT month, technician_id, inspection_id, site_key, material, model, gain_min, gain_max, gain, min(gain_share) AS gain_share, CAST(sum(readings) AS BIGINT) AS readings
FROM placed
GROUP BY month, technician_id, inspection_id, site_key, material, model, gain_min, gain_max, gain
ORDER BY month, technician_id, inspection_id, site_key, material, model, gain_min, gain_max, gain
