-- name: verification_weights
-- title: How many points each opened wall stands for
-- question: Of the point-visits of each material and call, how many were checked by looking, and how many does each checked one stand for?
-- grain: one row per material and call of the point-visit, those apart that another visit called active
-- reads: visit_counts
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: material | material of the point-visit
-- column: call | its call: active, clear or unsure; with "elsewhere active" where another visit within the truth window called the point active, so that it was opened for that call
-- column: point_visits | point-visits with that call
-- column: verified | of those, with a decisive finding (opened, drilled or borescope) in the truth window
-- column: active | of the verified, active
-- column: verified_share | verified / point_visits
-- column: weight | point_visits / verified: how many point-visits one verified stands for (Horvitz and Thompson 1952)
-- column: left_out | true where none was verified: nothing stands for these, and weighted figures leave them out
-- caveat: A weight assumes that, among point-visits of one class, those checked are like those that were not.
-- caveat: The weight of a class with few checked points is itself uncertain; intervals take it as known.
SELECT material, call || CASE WHEN called_elsewhere THEN ', elsewhere active' ELSE '' END AS call, CAST(sum(n) AS BIGINT) AS point_visits,
       CAST(coalesce(sum(n) FILTER (WHERE verified_by = 'decisive'), 0) AS BIGINT) AS verified,
       CAST(coalesce(sum(n) FILTER (WHERE verified_by = 'decisive' AND truth = 'active'), 0) AS BIGINT) AS active
FROM visit_counts
WHERE month BETWEEN $from AND $to
GROUP BY material, visit_counts.call, called_elsewhere
ORDER BY material, call
