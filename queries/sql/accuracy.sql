-- name: accuracy
-- title: How often the calls held up
-- question: Of the calls that were later checked by looking, how many were right, and what does that say of those never checked?
-- grain: one row per cut; a cut is one value of the columns named in "by"
-- reads: accuracy_counts
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: by | which columns make the cut; "all" for everything
-- column: clusters | sites with a call; points of one site are alike, so sites are the independent units. In a book of many thousand sites, random groups of them are the clusters (Wolter 2007)
-- column: active_calls | point-visits called active
-- column: active_verified | of those, with a decisive finding (opened, drilled or borescope) in the truth window
-- column: active_verified_share | active_verified / active_calls
-- column: confirmed | of the verified active calls, active
-- column: false_alarms | of the verified active calls, not active
-- column: confirmed_reported | active calls with an active report or return visit and no decisive finding; never pooled with confirmed
-- column: ppv | confirmed / active_verified
-- column: ppv_low | lower end of its 95% interval, sites as clusters, as for detection
-- column: ppv_high | upper end of it
-- column: ppv_design_effect | how much wider its uncertainty is than for as many independent points
-- column: enough | false where too few active calls were verified, or too unevenly, to show ppv
-- column: why_not | the reason for holding ppv back
-- column: clear_calls | point-visits called clear
-- column: clear_verified | of those, with a decisive finding in the truth window
-- column: clear_verified_share | clear_verified / clear_calls
-- column: missed | of the verified clear calls, active
-- column: missed_reported | clear calls with an active report or return visit and no decisive finding; never pooled with missed
-- column: sensitivity | share of active points called active, corrected for which points were ever checked (Begg and Greenes 1983), within strata
-- column: sensitivity_low | lower end of its 95% interval, sites as clusters (linearised, on the logit scale)
-- column: sensitivity_high | upper end of it
-- column: sensitivity_design_effect | how much wider its uncertainty is than for as many independent points
-- column: sensitivity_naive | confirmed / (confirmed + missed), among checked points only; flattering, since calls of movement are checked most; empty where calls of one kind only were checked
-- column: sensitivity_enough | false where too little was checked to show sensitivity
-- column: sensitivity_why_not | the reason for holding it back
-- column: specificity | share of points that are not active called clear, corrected likewise
-- column: specificity_low | lower end of its 95% interval
-- column: specificity_high | upper end of it
-- column: specificity_naive | among checked points only; empty where calls of one kind only were checked
-- column: specificity_enough | false where too little was checked to show specificity
-- column: specificity_why_not | the reason for holding it back
-- column: strata | strata within the cut that the correction weighs: material, density class, and whether another visit called the point active
-- column: strata_merged | how many of those had calls of a kind that were never checked, and were merged into one remainder
-- column: openings_needed | how many more openings of clear points, drawn at random, would bring sensitivity within 10 points at 95%, if what was found so far holds; empty where no number would do or nothing is known
-- column: openings_worst_case | true where no missed point is known, so that openings_needed takes the share missed that asks for most
-- caveat: Walls are mostly opened where movement was shown. A rate from checked points alone flatters sensitivity.
-- caveat: The correction assumes that, among calls of one kind in one stratum, the points checked are like those that were not.
-- caveat: A point that another visit called active, within as many days as the truth window has, is mostly opened because of that call; such calls make strata of their own, since what was opened there is no random draw.
-- caveat: The gain is that of the reading which decided the call. Gain is raised until something shows, so a cut by gain compares calls that ended at different steps; its sensitivity is not that of the step alone.
-- caveat: Openings needed: the half-width is 1.96 p(1-p) times the standard error of logit sensitivity, in which only the part from checking clear calls shrinks; the design effect found so far is taken to hold. At least as many are asked as reach the floor of checked clear calls and, at the share missed so far, 5 missed points.
-- caveat: The query counts by site and stratum; the program sums sites and strata into cuts.
WITH counts AS (
    SELECT c.*, c.material || ' ' || c.density_class || CASE WHEN c.called_elsewhere THEN ' called active by another visit' ELSE '' END AS stratum
    FROM accuracy_counts c
    WHERE c.month BETWEEN $from AND $to
), cells AS (
    SELECT CASE grouping(material, density_class, season, region, month) WHEN 31 THEN 'all' WHEN 15 THEN 'material' WHEN 23 THEN 'density_class'
                WHEN 27 THEN 'season' WHEN 29 THEN 'region' WHEN 30 THEN 'month' END AS "by",
           material, density_class, CAST(NULL AS INTEGER) AS gain, season, region, month, CAST(NULL AS VARCHAR) AS model, CAST(NULL AS VARCHAR) AS thickness_band, site_key, stratum,
           sum(confirmed) AS confirmed, sum(false_alarms) AS false_alarms, sum(active_unverified) AS active_unverified,
           sum(confirmed_reported) AS confirmed_reported, sum(missed) AS missed, sum(cleared) AS cleared, sum(clear_unverified) AS clear_unverified, sum(missed_reported) AS missed_reported
    FROM counts
    WHERE counts."by" = 'season+region'
    GROUP BY GROUPING SETS ((site_key, stratum), (material, site_key, stratum), (density_class, site_key, stratum), (season, site_key, stratum),
                            (region, site_key, stratum), (month, site_key, stratum))
    UNION ALL
    SELECT CASE WHEN material IS NULL THEN 'gain' ELSE 'material+gain' END, material, NULL, gain, NULL, NULL, NULL, NULL, NULL, site_key, stratum,
           sum(confirmed) AS confirmed, sum(false_alarms) AS false_alarms, sum(active_unverified) AS active_unverified,
           sum(confirmed_reported) AS confirmed_reported, sum(missed) AS missed, sum(cleared) AS cleared, sum(clear_unverified) AS clear_unverified, sum(missed_reported) AS missed_reported
    FROM counts
    WHERE counts."by" = 'gain'
    GROUP BY GROUPING SETS ((gain, site_key, stratum), (material, gain, site_key, stratum))
    UNION ALL
    SELECT counts."by", NULL, NULL, NULL, NULL, NULL, NULL, model, thickness_band, site_key, stratum,
           sum(confirmed) AS confirmed, sum(false_alarms) AS false_alarms, sum(active_unverified) AS active_unverified,
           sum(confirmed_reported) AS confirmed_reported, sum(missed) AS missed, sum(cleared) AS cleared, sum(clear_unverified) AS clear_unverified, sum(missed_reported) AS missed_reported
    FROM counts
    WHERE counts."by" IN ('model', 'thickness_band')
    GROUP BY counts."by", model, thickness_band, site_key, stratum
)
SELECT "by", material, density_class, gain, season, region, month, model, thickness_band, site_key, stratum,
       CAST(confirmed AS BIGINT), CAST(false_alarms AS BIGINT), CAST(active_unverified AS BIGINT), CAST(confirmed_reported AS BIGINT),
       CAST(missed AS BIGINT), CAST(cleared AS BIGINT), CAST(clear_unverified AS BIGINT), CAST(missed_reported AS BIGINT)
FROM cells
ORDER BY "by", material NULLS FIRST, density_class NULLS FIRST, gain NULLS FIRST, season NULLS FIRST, region NULLS FIRST, month NULLS FIRST,
         model NULLS FIRST, thickness_band NULLS FIRST, site_key, stratum
