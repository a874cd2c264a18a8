-- name: trend
-- title: Month by month
-- question: Do the rates stay where they were, month by month, beyond what chance gives?
-- grain: one row per measure and local month
-- reads: inspection_counts, params
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: measure | active_rate and unsure_rate (of point-visits), confirmed_share (of verified active calls; the rest are false alarms), missed_share (of verified clear calls)
-- column: n | point-visits, or verified calls
-- column: events | active, unsure, confirmed or missed
-- column: rate | events / n
-- column: low | lower end of the 95% interval, sites as clusters (Korn and Graubard 1998)
-- column: high | upper end of it
-- column: baseline | true for the months that set the centre and the limits
-- column: centre | pooled rate of the baseline
-- column: lcl | lower limit of the p chart, three standard errors below the centre (Shewhart 1931)
-- column: ucl | upper limit of it
-- column: laney_lcl | the same, widened by sigma_z (Laney 2002)
-- column: laney_ucl | upper limit of it
-- column: sigma_z | how much more the baseline months vary than a common rate makes them
-- column: chart | the limits that count: laney where sigma_z is above 1.1 (house's choice), else p
-- column: beyond | true for a month outside the limits that count
-- column: rules | the rules the month breaks: beyond limits; run of 8 on one side
-- column: ewma | exponentially weighted moving average of the rate, weight 0.2 for the newest month (Roberts 1959)
-- column: ewma_lcl | lower limit of it, three standard errors of the average, widened as the chart is
-- column: ewma_ucl | upper limit of it
-- column: signal | true where the average is outside its limits
-- column: enough | false where n is below the floor: the month is not charted, averaged or flagged
-- caveat: The baseline is the first 12 months with enough cases, or all of them when there are fewer than 24. Under 12 there are no limits.
-- caveat: Two rules only, named in words: each further rule multiplies false signals. About one month in 370 is beyond three standard errors by chance.
-- caveat: Nothing is adjusted for season or for what was tested. Findings for the newest months may still come in.
WITH by_site AS (
    SELECT month, site_key % p.site_groups AS site_key, sum(points) AS n, sum(active) AS active, sum(unsure) AS unsure, sum(active_verified) AS active_verified, sum(confirmed) AS confirmed,
           sum(clear_verified) AS clear_verified, sum(missed) AS missed
    FROM inspection_counts
    CROSS JOIN params p
    WHERE points > 0 AND month BETWEEN $from AND $to
    GROUP BY month, site_key % p.site_groups
), measured AS (
    SELECT 'active_rate' AS measure, month, n, active AS events FROM by_site
    UNION ALL
    SELECT 'unsure_rate', month, n, unsure FROM by_site
    UNION ALL
    SELECT 'confirmed_share', month, active_verified, confirmed FROM by_site
    UNION ALL
    SELECT 'missed_share', month, clear_verified, missed FROM by_site
)
SELECT measure, month, CAST(sum(n) AS BIGINT) AS n, CAST(sum(events) AS BIGINT) AS events, count(*) FILTER (WHERE n > 0) AS sites,
       CAST(sum(events * events) AS BIGINT) AS events_squared, CAST(sum(events * n) AS BIGINT) AS events_times_n, CAST(sum(n * n) AS BIGINT) AS n_squared
FROM measured
GROUP BY measure, month
ORDER BY measure, month
