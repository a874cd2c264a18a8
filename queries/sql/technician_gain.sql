-- name: technician_gain
-- title: Who uses gain otherwise than the others?
-- question: On the same materials with the same model of unit, does anyone work at other gain steps than the others, start elsewhere than the unit's starting step, or leave dense walls without stepping up?
-- grain: one row per technician
-- reads: gain_mixes, stepping_counts, params
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: technician_id | technician
-- column: readings | readings compared, control readings left out
-- column: visits | visits on one material each that they come from; with random groups of sites, also those on materials of which no peer has any
-- column: not_compared | readings on a material and model that nobody else has read, left out
-- column: mean_step | mean position in the unit's range, 0 lowest to 1 highest
-- column: peers_mean_step | the others', on this technician's mix of materials and models
-- column: distance | Jensen-Shannon distance of the two mixes of gain steps, 0 alike to 1 nothing in common (Lin 1991; Endres and Schindelin 2003)
-- column: distance_by_chance | what it comes to in the middle one of the permutations
-- column: moved | share of readings that would have to be at another step for the mixes to be alike
-- column: p | chance of such a distance were the visits dealt out at random within material and model (seeded permutations)
-- column: q | the same after control of the false discovery rate over technicians (Benjamini and Hochberg 1995)
-- column: relative_distance | the distance by fifths of the unit's range, since units have different ranges
-- column: relative_p | as p, for it
-- column: relative_q | as q, for it
-- column: permutations | how many
-- column: differs | q or relative_q at most 0.05 and at least a tenth of the readings moved (the tenth is the house's choice)
-- column: starts | point-visits with a reading
-- column: started_elsewhere | those whose first reading was not at the unit's starting step
-- column: elsewhere_rate | started_elsewhere / starts
-- column: elsewhere_low | lower end of its 95% interval, sites as clusters (Korn and Graubard 1998)
-- column: elsewhere_high | upper end of it
-- column: peers_elsewhere_rate | the same share of all others
-- column: starts_enough | false where elsewhere_rate is held back
-- column: dense_clear | point-visits on dense material that read clear below the unit's highest step before any active reading
-- column: stepped_up | those read again at a higher step
-- column: stepped_rate | stepped_up / dense_clear
-- column: stepped_low | lower end of its 95% interval, sites as clusters
-- column: stepped_high | upper end of it
-- column: peers_stepped_rate | the same share of all others
-- column: stepped_enough | false where stepped_rate is held back
-- column: enough | false where fewer readings than the floor, or fewer than 10 visits, can be compared
-- caveat: Gain is the technician's own choice; another mix is no fault in itself and nobody is ranked.
-- caveat: Mixes are compared on the same materials and models, not at the same thickness, season or region.
-- caveat: One who sees movement more often stops lower, so a mix may differ because calls do.
SELECT 'mix' AS part, technician_id, coalesce(inspection_id, CAST(site_key AS VARCHAR)) AS place,
       material || ' ' || model || ' ' || CAST(gain_min AS VARCHAR) || ' ' || CAST(gain_max AS VARCHAR) AS stratum,
       gain, min(gain_share) AS relative, CAST(sum(readings) AS BIGINT) AS n, 0 AS events
FROM gain_mixes
WHERE month BETWEEN $from AND $to
GROUP BY technician_id, coalesce(inspection_id, CAST(site_key AS VARCHAR)), material, model, gain_min, gain_max, gain
UNION ALL
SELECT 'start', technician_id, CAST(site_key AS VARCHAR), '', 0, 0.0, CAST(sum(points) AS BIGINT), CAST(sum(started_elsewhere) AS BIGINT)
FROM stepping_counts
WHERE month BETWEEN $from AND $to
GROUP BY technician_id, site_key
UNION ALL
SELECT 'step', technician_id, CAST(site_key AS VARCHAR), '', 0, 0.0, CAST(sum(may_step) AS BIGINT), CAST(sum(stepped_up) AS BIGINT)
FROM stepping_counts
WHERE month BETWEEN $from AND $to AND may_step > 0
GROUP BY technician_id, site_key
UNION ALL
SELECT 'visits', technician_id, '', '', 0, 0.0, CAST(sum(mixes) AS BIGINT), 0
FROM stepping_counts
CROSS JOIN params p
WHERE month BETWEEN $from AND $to AND p.sites_grouped
GROUP BY technician_id
ORDER BY part, technician_id, stratum, place, gain
