-- name: gain_guidance
-- title: Which gain step costs least
-- question: For each material and gain step, how often do readings show the activity that is there and movement that is not, and what would that cost?
-- grain: one row per material and gain step, also by thickness band and by unit model; "by" says which
-- reads: verified_readings, held_materials
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- param: groups | how many random groups of sites are the clusters; larger than any site_key where every site is one
-- column: by | material+gain, material+thickness_band+gain or model+material+gain
-- column: readings_active | readings (control readings left out) at point-visits found active by a decisive finding
-- column: points_active | the point-visits they come from
-- column: hit_rate | share of readings_active called active; unsure is no hit; weighted, see the caveats
-- column: hit_low | lower end of its 95% interval: weighted, sites as clusters (Korn and Graubard 1998), with an effective n of at most the readings
-- column: hit_high | upper end of it
-- column: readings_not_active | readings at point-visits where the decisive findings were not active
-- column: points_not_active | the point-visits they come from
-- column: false_alarm_rate | share of readings_not_active called active; weighted likewise
-- column: false_alarm_low | lower end of its 95% interval, made likewise
-- column: false_alarm_high | upper end of it
-- column: prevalence | share of the material's point-visits that are active, weighted for verification
-- column: cost_per_100 | 100 (prevalence (1 - hit_rate) missed cost + (1 - prevalence) false_alarm_rate false alarm cost), in the configured currency; empty where costs are not set
-- column: cost_low | lower end of its 95% interval from those of both rates (Zou and Donner 2008); prevalence and costs are taken as known
-- column: cost_high | upper end of it
-- column: active_stepped | point-visits found active of which it is known whether they had shown movement by this step
-- column: others_stepped | point-visits found not active of which that is known
-- column: hit_by | share of active points that have shown movement by this step when the gain is stepped up to it, weighted; see gain_curve
-- column: hit_by_low | lower end of its 95% interval: jackknife over groups of sites (Korn and Graubard 1998), with an effective n of at most the points
-- column: hit_by_high | upper end of it
-- column: false_alarm_by | share of points not active that have shown movement by this step, made likewise
-- column: false_alarm_by_low | lower end of its 95% interval
-- column: false_alarm_by_high | upper end of it
-- column: stepping_cost_per_100 | expected cost of 100 points stepped up to this gain: as cost_per_100, with hit_by and false_alarm_by
-- column: stepping_cost_low | lower end of its 95% interval, made as cost_low
-- column: stepping_cost_high | upper end of it
-- column: hit_enough | false where hit_rate rests on fewer readings than the floor or is too uncertain to show
-- column: false_alarm_enough | the same for false_alarm_rate
-- column: hit_by_enough | the same for hit_by, by points
-- column: false_alarm_by_enough | the same for false_alarm_by; advice needs both
-- column: enough | hit_enough and false_alarm_enough
-- column: why_not | what is held back, and why
-- column: advice | how the cost of stepping up to this gain compares with the other steps of its material, band or model, and where the step is in the house's range
-- column: house_low | lowest gain step of the house's own guidance for the material
-- column: house_high | highest gain step of it
-- column: in_house_range | whether the step is in that range; empty where the house gives none
-- column: loss_db | one-way wave loss in dB through the material's typical thickness; empty by thickness band, and where the table has no such material
-- caveat: Walls are mostly opened where movement was shown. Each point-visit is weighted by 1 / (share checked among point-visits of its material and call, those apart that another visit called active), so that opened walls stand for the rest (Horvitz and Thompson 1952); see verification_weights.
-- caveat: Technicians step up after a clear reading and often hold one step lower after an active one. So readings at a higher step are mostly of points that showed nothing lower, and hit_rate, false_alarm_rate and cost_per_100 are those of the readings a step was used for, not what it would give if every point were read at it. Advice therefore goes by what stepping up to it shows and costs.
-- caveat: The first active reading counts, also where a reading after it took it back: false alarms by a step are those before any such second look.
-- caveat: Gain steps mean different things on different unit models. Rows by material and gain go by the number alone and pool models; rows by model and material do not.
-- caveat: Material and thickness band are those of the reading that decided the point-visit.
WITH cells AS (
    SELECT CASE grouping(thickness_band, model) WHEN 3 THEN 'material+gain' WHEN 1 THEN 'material+thickness_band+gain'
                WHEN 2 THEN 'model+material+gain' END AS "by",
           material, thickness_band, model, gain, site, call,
           coalesce(sum(readings) FILTER (WHERE truth = 'active'), 0) AS readings_active,
           coalesce(sum(active) FILTER (WHERE truth = 'active'), 0) AS hits,
           count(*) FILTER (WHERE truth = 'active') AS points_active,
           count(*) FILTER (WHERE truth = 'active' AND first_model) AS points_active_pooled,
           coalesce(sum(readings) FILTER (WHERE truth = 'not_active'), 0) AS readings_not_active,
           coalesce(sum(active) FILTER (WHERE truth = 'not_active'), 0) AS false_alarms,
           count(*) FILTER (WHERE truth = 'not_active') AS points_not_active,
           count(*) FILTER (WHERE truth = 'not_active' AND first_model) AS points_not_active_pooled
    FROM (SELECT *, site_key % $groups AS site FROM verified_readings WHERE month BETWEEN $from AND $to)
    GROUP BY GROUPING SETS ((material, gain, site, call), (material, thickness_band, gain, site, call), (material, model, gain, site, call))
)
SELECT c."by", c.material, c.thickness_band, c.model, c.gain, c.site, c.call, c.readings_active, c.hits,
       CASE WHEN c.model IS NULL THEN c.points_active_pooled ELSE c.points_active END AS points_active, c.readings_not_active, c.false_alarms,
       CASE WHEN c.model IS NULL THEN c.points_not_active_pooled ELSE c.points_not_active END AS points_not_active, m.gain_low, m.gain_high, m.typical_thickness_mm
FROM cells c
JOIN held_materials m ON m.material = c.material
ORDER BY c."by", c.material, c.thickness_band NULLS FIRST, c.model NULLS FIRST, c.gain, c.site, c.call
