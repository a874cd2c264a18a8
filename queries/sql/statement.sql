-- name: statement
-- title: What may be said
-- question: What may the business say of its calls, with the count, the interval, the dates and the limits?
-- grain: one row per sentence, in the order in which they are said
-- reads: point_visits, params
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: topic | scope, shown, verified, confirmed, found, basis or limits
-- column: text | the sentence
-- column: n | the count its rate is of (empty where it states none)
-- column: rate | the rate it states, 0 to 1
-- column: low | lower end of the 95% interval
-- column: high | upper end of it
-- column: source | the result, and the row in it, that the figures come from
-- caveat: Quote the sentences together: a rate without its count, its interval and the limits says more than was seen.
-- caveat: The query gives dates and counts of visits; the rates are those of the results named as source.
SELECT coalesce(CAST(min(v.local_date) AS VARCHAR), '') AS first_on, coalesce(CAST(max(v.local_date) AS VARCHAR), '') AS last_on,
       count(*) AS point_visits, count(DISTINCT v.inspection_id) AS inspections, count(DISTINCT v.site_id) AS sites,
       (SELECT max(p.truth_days) FROM params p) AS truth_days
FROM point_visits v
WHERE v.month BETWEEN $from AND $to
ORDER BY first_on
