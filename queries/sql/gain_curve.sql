-- name: gain_curve
-- title: How the chance of a hit runs with gain
-- question: When the gain is stepped up at a point that is active, how does the chance that movement has been shown run with the step, and where does it start and level off?
-- grain: one row per material, density class, material and thickness band, and unit model and material; "by" says which
-- reads: point_visits
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- param: groups | how many random groups of sites are the clusters; larger than any site_key where every site is one
-- column: by | material, density_class, material+thickness_band or model+material
-- column: density_class | light, medium or dense, where rows are by density class
-- column: points | point-visits found active by a decisive finding
-- column: n_effective | independent points that would tell as much, after weighting for verification and for points of one site being alike; the curve is fitted to these
-- column: gain_steps | different gain steps at which points were tried until movement showed
-- column: intercept | of the logit of the chance between floor and ceiling
-- column: slope | of it, per gain step
-- column: a50 | gain by which half of active points have shown movement; empty where none of the gains tried is
-- column: a90 | gain by which 90 % have
-- column: a90_95 | gain of which one can be 95 % sure that 90 % have (likelihood ratio bound)
-- column: floor | fitted chance far below the lowest gain
-- column: ceiling | chance at which hits level off, fitted
-- column: why_not | why there is no curve or no such gain
-- caveat: A floor above 0 (something else moves) and a ceiling below 1 (some activity is never shown) are both expected, so both are free and no S-curve from 0 to 1 is forced (MIL-HDBK-1823A 2009).
-- caveat: Technicians step up after a clear reading, so single readings at a higher step are mostly of points that showed nothing lower. The chance is therefore of having shown by a step, estimated from where points first showed and where stepping stopped (Turnbull 1976); readings after the first active one are left out.
-- caveat: It assumes that a point which shows at a step would show at any higher one, and that points not taken further are like those that were. Standard errors are not given: steps share their points.
-- caveat: Each point is counted once, shared out over the steps in the fit.
-- caveat: Rows by material, band or density class pool unit models, whose gain steps mean different things.
WITH ladders AS (
    SELECT site_key % $groups AS site, material, density_class, thickness_band, coalesce(model, 'unknown') AS model,
           call || CASE WHEN called_elsewhere THEN ', elsewhere active' ELSE '' END AS call, truth, shown_at, unshown_at
    FROM point_visits
    WHERE verified_by = 'decisive' AND month BETWEEN $from AND $to
), cells AS (
    SELECT CASE grouping(density_class, thickness_band, model) WHEN 7 THEN 'material' WHEN 3 THEN 'density_class'
                WHEN 5 THEN 'material+thickness_band' WHEN 6 THEN 'model+material' END AS "by",
           material, density_class, thickness_band, model, truth, site, call, unshown_at, shown_at, count(*) AS points
    FROM ladders
    GROUP BY GROUPING SETS ((material, truth, site, call, unshown_at, shown_at),
                            (density_class, material, truth, site, call, unshown_at, shown_at),
                            (material, thickness_band, truth, site, call, unshown_at, shown_at),
                            (model, material, truth, site, call, unshown_at, shown_at))
), named AS (
    SELECT "by", CASE WHEN "by" <> 'density_class' THEN material END AS material, density_class, thickness_band, model, truth, site,
           material AS weighed_as, call, unshown_at, shown_at, points
    FROM cells
)
SELECT "by", material, density_class, thickness_band, model, truth, site, weighed_as, call, unshown_at, shown_at, points
FROM named
ORDER BY "by", material NULLS FIRST, density_class NULLS FIRST, thickness_band NULLS FIRST, model NULLS FIRST, truth, site, weighed_as,
         call, unshown_at NULLS FIRST, shown_at NULLS LAST
