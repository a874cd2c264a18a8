-- name: trend_summary
-- title: Trend and year on year
-- question: Is there a steady rise or fall over the months, and how do the last 12 months compare with the 12 before?
-- grain: one row per measure
-- reads: inspection_counts, params
-- param: from | first local month of the 24 compared, YYYY-MM
-- param: to | last local month, YYYY-MM
-- param: last | first of the last 12 months, YYYY-MM
-- column: measure | as in trend
-- column: months | months with a point-visit
-- column: months_used | months with enough cases, which make the trend
-- column: baseline_from | first month that sets the centre
-- column: baseline_to | last month of it
-- column: centre | pooled rate of the baseline
-- column: sigma_z | how much more the baseline months vary than a common rate makes them (Laney 2002)
-- column: chart | p or laney
-- column: months_beyond | months outside the limits that count
-- column: months_in_runs | months that complete or continue a run of 8 on one side
-- column: months_signalled | months whose moving average is outside its limits
-- column: s | Mann-Kendall S: pairs of months that rise less pairs that fall
-- column: p | its two-sided p, months taken as independent
-- column: slope | change of the rate per month (Sen 1968)
-- column: slope_low | lower end of its 95% interval
-- column: slope_high | upper end of it
-- column: last_n | cases in the last 12 months
-- column: last_events | events in them
-- column: last_rate | their rate
-- column: before_n | cases in the 12 months before
-- column: before_events | events in them
-- column: before_rate | their rate
-- column: difference | last_rate less before_rate
-- column: difference_low | lower end of its 95% interval: Newcombe's (1998) square-and-add on the intervals of the two rates, sites as clusters
-- column: difference_high | upper end of it
-- column: last_design_effect | of the last 12 months' rate, sites as clusters
-- column: before_design_effect | of the 12 months before
-- column: enough | false where fewer than 12 months have enough cases
-- column: why_not | what is missing
-- caveat: Months that follow one another are alike, and a season makes them more so: p is then too small. A year on year comparison has the season in both years.
-- caveat: Sites visited in both years make the interval of the difference somewhat too wide.
-- caveat: The confirmed and missed shares of the newest months rest on the findings received so far.
WITH by_site AS (
    SELECT CASE WHEN month >= $last THEN 'last' ELSE 'before' END AS "window", site_key % p.site_groups AS site_key, sum(points) AS n, sum(active) AS active, sum(unsure) AS unsure,
           sum(active_verified) AS active_verified, sum(confirmed) AS confirmed, sum(clear_verified) AS clear_verified, sum(missed) AS missed
    FROM inspection_counts
    CROSS JOIN params p
    WHERE points > 0 AND month BETWEEN $from AND $to
    GROUP BY CASE WHEN month >= $last THEN 'last' ELSE 'before' END, site_key % p.site_groups
), measured AS (
    SELECT 'active_rate' AS measure, "window", n, active AS events FROM by_site
    UNION ALL
    SELECT 'unsure_rate', "window", n, unsure FROM by_site
    UNION ALL
    SELECT 'confirmed_share', "window", active_verified, confirmed FROM by_site
    UNION ALL
    SELECT 'missed_share', "window", clear_verified, missed FROM by_site
)
SELECT measure, "window", CAST(sum(n) AS BIGINT) AS n, CAST(sum(events) AS BIGINT) AS events, count(*) FILTER (WHERE n > 0) AS sites,
       CAST(sum(events * events) AS BIGINT) AS events_squared, CAST(sum(events * n) AS BIGINT) AS events_times_n, CAST(sum(n * n) AS BIGINT) AS n_squared
FROM measured
GROUP BY measure, "window"
ORDER BY measure, "window"
