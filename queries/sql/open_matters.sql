-- name: open_matters
-- title: Open matters
-- question: What should someone look into first, and where is the evidence?
-- grain: one row per matter: a missed point, a technician and a check, an overdue unit, or a record file
-- reads: point_visits, unit_counts
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- param: most | how many missed points are listed, the newest
-- column: matter | missed_point, overdue_unit, protocol, digits, consistency, drift, unit, rejected_rows or waiting_rows
-- column: consequence | 1 little to 10: how much it takes from what the records prove, or what it may have cost; the house's choice
-- column: subject | what it is about: a point, a unit, a check, a measure or a file
-- column: technician_id | technician, where it is about one
-- column: inspection_id | inspection, where it is in one
-- column: cases | how many cases
-- column: of | of how many
-- column: text | the matter in words
-- column: evidence | the page that shows it
-- column: result | the result it comes from
-- caveat: The query gives missed points and overdue units; the other matters are made from the results named in the column result.
-- caveat: A matter asks for a look. It is closed by a record: a finding, a corrected row, a service date; never here.
WITH newest AS (
    SELECT point_id, technician_id, inspection_id, local_date, verified_by, method, days_to_finding,
           row_number() OVER (ORDER BY local_date DESC, inspection_id, point_id) AS nth
    FROM point_visits
    WHERE missed AND month BETWEEN $from AND $to
), missed AS (
    SELECT 'missed_point' AS matter, point_id AS subject, technician_id, inspection_id, CAST(local_date AS VARCHAR) AS "date", verified_by,
           coalesce(method, '') AS method, days_to_finding AS days, 1 AS cases, 1 AS "of"
    FROM newest
    WHERE nth <= $most
), overdue AS (
    SELECT 'overdue_unit' AS matter, c.unit_id AS subject, '' AS technician_id, '' AS inspection_id, CAST(min(u.service_due_on) AS VARCHAR) AS "date", '' AS verified_by,
           '' AS method, 0 AS days, CAST(sum(c.inspections) FILTER (WHERE c.unit_overdue = 'yes') AS BIGINT) AS cases, CAST(sum(c.inspections) AS BIGINT) AS "of"
    FROM unit_counts c
    JOIN held_units u ON u.unit_id = c.unit_id
    WHERE c.month BETWEEN $from AND $to
    GROUP BY c.unit_id
    HAVING count(*) FILTER (WHERE c.unit_overdue = 'yes') > 0
)
SELECT * FROM missed
UNION ALL
SELECT * FROM overdue
ORDER BY matter, "date" DESC, inspection_id, subject
