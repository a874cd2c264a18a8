-- name: gain_curve
-- title: How the chance of a hit runs with gain
-- question: At points found active, how does the chance that a reading shows movement run with the gain step, and where does it start and level off?
-- grain: one row per material, per density class, and per unit model and material; "by" says which
-- reads: point_visits, readings
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: by | material, density_class or model+material
-- column: density_class | light, medium or dense, where rows are by density class
-- column: readings | readings (control readings left out) at point-visits found active by a decisive finding
-- column: n_effective | independent readings that would tell as much, after weighting for verification and for readings of one site being alike; the curve is fitted to these
-- column: gain_steps | different gain steps among them
-- column: intercept | of the logit of the chance between floor and ceiling
-- column: slope | of it, per gain step
-- column: a50 | gain at which half of readings show movement; empty where no gain does
-- column: a90 | gain at which 90 % do
-- column: a90_95 | gain of which one can be 95 % sure that 90 % do (likelihood ratio bound)
-- column: floor | chance of a hit at the lowest gain, fitted
-- column: ceiling | chance at which hits level off, fitted
-- column: why_not | why there is no curve or no such gain
-- caveat: A floor above 0 (something else moves) and a ceiling below 1 (some activity is never shown) are both expected, so both are free and no S-curve from 0 to 1 is forced (MIL-HDBK-1823A 2009).
-- caveat: Technicians step up after a clear reading, so readings at a higher step are mostly of points that showed nothing lower: the curve is of readings as taken, and where it does not rise no gain can be said.
-- caveat: Rows by material or density class pool unit models, whose gain steps mean different things.
WITH cells AS (
    SELECT CASE grouping(p.density_class, r.model) WHEN 3 THEN 'material' WHEN 1 THEN 'density_class' WHEN 2 THEN 'model+material' END AS "by",
           p.material, p.density_class, r.model, r.gain, p.site_id, p.call,
           count(*) AS readings, count(*) FILTER (WHERE r.call = 'active') AS hits
    FROM point_visits p
    JOIN readings r ON r.inspection_id = p.inspection_id AND r.point_id = p.point_id
    WHERE NOT r.control AND p.verified_by = 'decisive' AND p.truth = 'active' AND p.month BETWEEN $from AND $to
    GROUP BY GROUPING SETS ((p.material, r.gain, p.site_id, p.call), (p.density_class, p.material, r.gain, p.site_id, p.call),
                            (r.model, p.material, r.gain, p.site_id, p.call))
), named AS (
    SELECT "by", CASE WHEN "by" <> 'density_class' THEN material END AS material, density_class, model, gain, site_id,
           material AS weighed_as, call, readings, hits
    FROM cells
)
SELECT "by", material, density_class, model, gain, site_id, weighed_as, call, readings, hits
FROM named
ORDER BY "by", material NULLS FIRST, density_class NULLS FIRST, model NULLS FIRST, gain, site_id, weighed_as, call
