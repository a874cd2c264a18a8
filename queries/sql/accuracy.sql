-- name: accuracy
-- title: How often the calls held up
-- question: Of the calls that were later checked by looking, how many were right, and what does that say of those never checked?
-- grain: one row per cut; a cut is one value of the columns named in "by"
-- reads: visit_counts
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: by | which columns make the cut; "all" for everything
-- column: active_calls | point-visits called active
-- column: active_verified | of those, with a decisive finding (opened, drilled or borescope) in the truth window
-- column: active_verified_share | active_verified / active_calls
-- column: confirmed | of the verified active calls, active
-- column: false_alarms | of the verified active calls, not active
-- column: ppv | confirmed / active_verified
-- column: ppv_low | lower end of its 95% Wilson interval
-- column: ppv_high | upper end of it
-- column: clear_calls | point-visits called clear
-- column: clear_verified | of those, with a decisive finding in the truth window
-- column: clear_verified_share | clear_verified / clear_calls
-- column: missed | of the verified clear calls, active
-- column: missed_reported | clear calls with an active report or return visit and no decisive finding; never pooled with missed
-- column: sensitivity | share of active points called active, corrected for which points were ever checked (Begg and Greenes 1983)
-- column: sensitivity_low | lower end of its 95% interval
-- column: sensitivity_high | upper end of it
-- column: specificity | share of points that are not active called clear, corrected likewise
-- column: specificity_low | lower end of its 95% interval
-- column: specificity_high | upper end of it
-- column: sensitivity_naive | confirmed / (confirmed + missed), among checked points only; flattering, since calls of movement are checked most
-- column: specificity_naive | among checked points only
-- column: enough | false where fewer active calls were verified than the floor
-- caveat: Walls are mostly opened where movement was shown. A rate from checked points alone flatters sensitivity.
-- caveat: The correction assumes that, among calls of one kind, the points checked are like those that were not.
SELECT CASE grouping(material, gain, season, region, month)
           WHEN 31 THEN 'all' WHEN 15 THEN 'material' WHEN 23 THEN 'gain' WHEN 27 THEN 'season' WHEN 29 THEN 'region' WHEN 30 THEN 'month'
           WHEN 7 THEN 'material+gain' END AS "by",
       material, gain, season, region, month,
       CAST(coalesce(sum(n) FILTER (WHERE call = 'active'), 0) AS BIGINT) AS active_calls,
       CAST(coalesce(sum(n) FILTER (WHERE call = 'active' AND verified_by = 'decisive'), 0) AS BIGINT) AS active_verified,
       CAST(coalesce(sum(n) FILTER (WHERE call = 'active' AND verified_by = 'decisive' AND truth = 'active'), 0) AS BIGINT) AS confirmed,
       CAST(coalesce(sum(n) FILTER (WHERE call = 'clear'), 0) AS BIGINT) AS clear_calls,
       CAST(coalesce(sum(n) FILTER (WHERE call = 'clear' AND verified_by = 'decisive'), 0) AS BIGINT) AS clear_verified,
       CAST(coalesce(sum(n) FILTER (WHERE call = 'clear' AND verified_by = 'decisive' AND truth = 'active'), 0) AS BIGINT) AS missed,
       CAST(coalesce(sum(n) FILTER (WHERE call = 'clear' AND verified_by = 'report' AND truth = 'active'), 0) AS BIGINT) AS missed_reported
FROM visit_counts
WHERE month BETWEEN $from AND $to
GROUP BY GROUPING SETS ((), (material), (gain), (season), (region), (month), (material, gain))
ORDER BY "by", material NULLS FIRST, gain NULLS FIRST, season NULLS FIRST, region NULLS FIRST, month NULLS FIRST
