-- table: point_truth
-- grain: one row per inspection and point that has any finding within the truth window
-- about: What was later learned about a point, counted from the visit's local date to truth_days after it.
--        Opened, drilled and borescope are decisive. A report or a return visit that says active counts only
--        where no decisive finding contradicts it.
-- column: truth | active, not_active or unverified
-- column: verified_by | decisive, report or none
-- column: result | result of the first decisive finding that says what truth says
-- column: cause | what moved, from the first decisive finding with a cause
-- column: days_to_finding | days from the visit to the first finding in the window
WITH seen AS (
    SELECT v.inspection_id, v.point_id, v.month, f.finding_id, f.found_on, f.method, f.result, f.cause,
           f.method IN ('opened', 'drilled', 'borescope') AS decisive,
           date_diff('day', v.local_date, f.found_on) AS days
    FROM point_decisions v
    JOIN these_findings f ON f.site_id = v.site_id AND f.point_id = v.point_id
    CROSS JOIN params p
    WHERE date_diff('day', v.local_date, f.found_on) BETWEEN 0 AND p.truth_days
), summed AS (
    SELECT inspection_id, point_id, month,
           count(*) FILTER (WHERE decisive AND result = 'active') AS decisive_active,
           count(*) FILTER (WHERE decisive) AS decisive,
           count(*) FILTER (WHERE NOT decisive AND result = 'active') AS reported_active,
           min(days) AS days_to_finding
    FROM seen
    GROUP BY inspection_id, point_id, month
), ranked AS (
    SELECT s.inspection_id, s.point_id, s.result, s.cause, s.method,
           row_number() OVER (PARTITION BY s.inspection_id, s.point_id
                              ORDER BY s.result <> 'active', s.cause IS NULL, s.found_on, s.finding_id) AS nth
    FROM seen s
    WHERE s.decisive
)
SELECT t.inspection_id, t.point_id, t.month,
       CASE WHEN t.decisive_active > 0 THEN 'active' WHEN t.decisive > 0 THEN 'not_active'
            WHEN t.reported_active > 0 THEN 'active' ELSE 'unverified' END AS truth,
       CASE WHEN t.decisive > 0 THEN 'decisive' WHEN t.reported_active > 0 THEN 'report' ELSE 'none' END AS verified_by,
       d.result, CASE WHEN d.result = 'other_movement' THEN coalesce(d.cause, 'unknown') END AS cause, d.method, t.days_to_finding
FROM summed t
LEFT JOIN ranked d ON d.inspection_id = t.inspection_id AND d.point_id = t.point_id AND d.nth = 1
ORDER BY t.inspection_id, t.point_id
