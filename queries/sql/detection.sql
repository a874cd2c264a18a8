-- name: detection
-- title: How often movement is shown
-- question: On what share of point-visits, and of readings at each gain step, was the call active, and how sure is that?
-- grain: one row per cut; a cut is one value of the columns named in "by"
-- reads: call_counts, gain_counts
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: by | which columns make the cut; "all" for everything
-- column: point_visits | points tested, once per inspection (empty for cuts by gain)
-- column: readings | readings, control readings left out (only for cuts by gain)
-- column: active | those with an active call
-- column: unsure | those left undecided
-- column: sites | sites they come from; points of one site are alike, so sites are the independent units, or in a book of many thousand sites, groups of them
-- column: rate | share active, 0 to 1
-- column: low | lower end of the 95% interval, sites as clusters (Korn and Graubard 1998)
-- column: high | upper end of it
-- column: design_effect | how much wider the uncertainty is than for as many independent points
-- column: n_effective | independent points that would tell as much
-- column: enough | false where the count or the precision is too small to show the rate
-- column: why_not | the reasons for holding the rate back
-- caveat: The share of tested points with an active call is no rate of infestation: points and houses are chosen.
-- caveat: Gain steps are chosen: low ones also to look again after movement was shown, high ones after none was. A share by gain says what a step was used for; see gain_guidance.
-- caveat: A season has the meaning of its region's scheme; cuts by season pool regions in the same season.
WITH cells AS (
    SELECT CASE grouping(material, season, region, month) WHEN 15 THEN 'all' WHEN 7 THEN 'material' WHEN 11 THEN 'season' WHEN 13 THEN 'region' WHEN 14 THEN 'month'
                WHEN 3 THEN 'material+season' WHEN 9 THEN 'region+season' WHEN 12 THEN 'region+month' END AS "by",
           material, CAST(NULL AS INTEGER) AS gain, season, region, month, CAST(NULL AS VARCHAR) AS model, CAST(NULL AS VARCHAR) AS thickness_band,
           CAST(NULL AS VARCHAR) AS purpose, site_key, sum(n) AS n, sum(active) AS active, sum(unsure) AS unsure
    FROM call_counts
    WHERE call_counts."by" = 'circumstances' AND month BETWEEN $from AND $to
    GROUP BY GROUPING SETS ((site_key), (material, site_key), (season, site_key), (region, site_key), (month, site_key), (material, season, site_key),
                            (season, region, site_key), (region, month, site_key))
    UNION ALL
    SELECT c."by", NULL, NULL, NULL, NULL, NULL, c.model, c.thickness_band, c.purpose, c.site_key, sum(c.n), sum(c.active), sum(c.unsure)
    FROM call_counts c
    WHERE c."by" <> 'circumstances' AND c.month BETWEEN $from AND $to
    GROUP BY c."by", c.model, c.thickness_band, c.purpose, c.site_key
    UNION ALL
    SELECT CASE grouping(material, region, season) WHEN 7 THEN 'gain' WHEN 3 THEN 'material+gain' WHEN 6 THEN 'gain+season'
                WHEN 1 THEN 'material+gain+region' END, material, gain, season, region, NULL, NULL, NULL, NULL, site_key, sum(readings), sum(active), sum(unsure)
    FROM gain_counts
    WHERE month BETWEEN $from AND $to
    GROUP BY GROUPING SETS ((gain, site_key), (material, gain, site_key), (gain, season, site_key), (material, gain, region, site_key))
)
SELECT "by", material, gain, season, region, month, model, thickness_band, purpose,
       CAST(sum(n) AS BIGINT) AS n, CAST(sum(active) AS BIGINT) AS active, CAST(sum(unsure) AS BIGINT) AS unsure, count(*) AS sites,
       CAST(sum(active * active) AS BIGINT) AS active_squared, CAST(sum(active * n) AS BIGINT) AS active_times_n,
       CAST(sum(n * n) AS BIGINT) AS n_squared
FROM cells
GROUP BY "by", material, gain, season, region, month, model, thickness_band, purpose
ORDER BY "by", material NULLS FIRST, gain NULLS FIRST, season NULLS FIRST, region NULLS FIRST, month NULLS FIRST, model NULLS FIRST,
         thickness_band NULLS FIRST, purpose NULLS FIRST
