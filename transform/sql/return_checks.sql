-- table: return_checks
-- grain: one row per return-visit finding that tells about a call of the month
-- about: Who came back to a point that was called, where records name one person at the site that day. The finding tells
--        about the last call before it.
-- column: finding_id | key
-- column: found_on | date of the return visit
-- column: by_self | the person who called the point came back to it
WITH at_site AS (
    SELECT v.site_id, v.local_date, min(v.technician_id) AS technician_id
    FROM near_visits v
    GROUP BY v.site_id, v.local_date
    HAVING count(DISTINCT v.technician_id) = 1
), returned AS (
    SELECT f.finding_id, f.found_on, f.result, v.inspection_id, v.site_id, v.point_id, v.month, v.technician_id, v.call,
           a.technician_id = v.technician_id AS by_self,
           row_number() OVER (PARTITION BY f.finding_id ORDER BY v.local_date DESC, v.inspection_id) AS nth
    FROM these_findings f
    JOIN at_site a ON a.site_id = f.site_id AND a.local_date = f.found_on
    JOIN near_point_decisions v ON v.site_id = f.site_id AND v.point_id = f.point_id
    CROSS JOIN params p
    WHERE f.method = 'return_visit' AND v.call IN ('active', 'clear') AND date_diff('day', v.local_date, f.found_on) BETWEEN 1 AND p.truth_days
)
SELECT r.finding_id, r.found_on, r.result, r.inspection_id, r.site_id, r.point_id, r.month, r.technician_id, r.call, r.by_self
FROM returned r
JOIN these_months t ON t.month = r.month
WHERE r.nth = 1
ORDER BY r.finding_id
