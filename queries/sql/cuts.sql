-- name: cuts
-- title: Calls by month, region, material and technician, one or two at a time
-- question: How many points were called active, and how many checked active calls were confirmed, in each month, region, material and for each technician, and in each two of these together?
-- grain: one row per cut that holds a point
-- reads: people_counts
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- param: pairs_from | first local month of cuts by month and something else, YYYY-MM
-- column: by | all, or the columns that make the cut, joined with +
-- column: month | local month, YYYY-MM; null in this and the next three where the cut is not by it
-- column: region | region
-- column: material | material
-- column: technician_id | technician
-- column: point_visits | points tested
-- column: active | called active
-- column: rate | active / point_visits
-- column: low | 95 % interval of it, sites as clusters
-- column: high | 95 % interval of it
-- column: enough | false where the rate is held back
-- column: active_verified | active calls that a decisive finding tells about
-- column: confirmed | of these, activity found
-- column: ppv | confirmed / active_verified
-- column: ppv_low | 95 % interval of it, sites as clusters
-- column: ppv_high | 95 % interval of it
-- column: ppv_enough | false where the share is held back
-- column: clear_verified | clear calls that a decisive finding tells about
-- column: missed | of these, activity found
-- caveat: Cuts by three or more are not made: most would hold too few points to say anything. Cuts by month and something else go back two years.
WITH by_site AS (
    SELECT grouping_id(month, region, material, technician_id) AS without, month, region, material, technician_id, site_key,
           sum(n) AS n, sum(active) AS x, sum(active_verified) AS vn, sum(confirmed) AS vx, sum(clear_verified) AS clear_verified, sum(missed) AS missed
    FROM people_counts
    WHERE month BETWEEN $from AND $to
    GROUP BY GROUPING SETS ((site_key), (month, site_key), (region, site_key), (material, site_key), (technician_id, site_key), (month, region, site_key),
        (month, material, site_key), (month, technician_id, site_key), (region, material, site_key), (region, technician_id, site_key), (material, technician_id, site_key))
)
SELECT CASE WHEN without = 15 THEN 'all' ELSE concat_ws('+', CASE WHEN month IS NOT NULL THEN 'month' END, CASE WHEN region IS NOT NULL THEN 'region' END,
           CASE WHEN material IS NOT NULL THEN 'material' END, CASE WHEN technician_id IS NOT NULL THEN 'technician' END) END AS "by",
       month, region, material, technician_id,
       CAST(sum(n) AS BIGINT), CAST(sum(x) AS BIGINT), count(*), CAST(sum(x * x) AS BIGINT), CAST(sum(x * n) AS BIGINT), CAST(sum(n * n) AS BIGINT),
       CAST(sum(vn) AS BIGINT), CAST(sum(vx) AS BIGINT), count(*) FILTER (WHERE vn > 0), CAST(sum(vx * vx) AS BIGINT), CAST(sum(vx * vn) AS BIGINT), CAST(sum(vn * vn) AS BIGINT),
       CAST(sum(clear_verified) AS BIGINT), CAST(sum(missed) AS BIGINT)
FROM by_site
WHERE month IS NULL OR without = 7 OR month >= $pairs_from
GROUP BY without, month, region, material, technician_id
ORDER BY without DESC, month, region, material, technician_id
