-- name: agreement_material
-- title: On which materials do calls of the same points differ?
-- question: Where a point was called again, blind, by somebody else, how often do the two calls agree on each material, and who calls movement more often?
-- grain: one row per material and technician, and "all"
-- reads: recheck_pairs
-- param: from | first local month of the recheck, YYYY-MM
-- param: to | last local month of the recheck, YYYY-MM
-- column: technician_id | technician, at either end of a recheck; "all" for every pair once, with the first inspection as "this" side
-- column: pairs | points with two calls that are active or clear
-- column: unsure | points where either call was unsure; in no other column
-- column: sites | sites of the pairs, which are the clusters
-- column: both_active | called active by both
-- column: only_this | called active by this technician only
-- column: only_other | called active by the other one only
-- column: both_clear | called clear by both
-- column: agreement | share of pairs with the same call
-- column: agreement_low | lower end of its 95% interval (Korn and Graubard 1998)
-- column: agreement_high | upper end of it
-- column: chance_agreement | share that would agree by chance, from how often each side calls active
-- column: kappa | Cohen's kappa (1960)
-- column: kappa_low | lower end of its 95% interval, variance between sites
-- column: kappa_high | upper end of it
-- column: ac1 | AC1 (Gwet 2008)
-- column: ac1_low | lower end of its 95% interval
-- column: ac1_high | upper end of it
-- column: kappa_design_effect | variance of kappa over that of independent points
-- column: direction_p | chance of so uneven a count of only_this and only_other were both sides alike, exact over sites
-- column: direction_q | the same after control of the false discovery rate over all technicians and materials
-- column: direction | more, fewer or same, at q of 0.05, for "all" at p; same where not enough
-- column: enough | false where there are fewer pairs than the floor, too few sites, or fewer than 10 pairs with an active call
-- column: why_not | why not
-- caveat: Calls are compared with one another, not with the truth.
SELECT material, site_id, point_id, first_inspection, first_technician, second_technician, first_call, second_call
FROM recheck_pairs
WHERE month BETWEEN $from AND $to
ORDER BY material, site_id, first_inspection, inspection_id, point_id
