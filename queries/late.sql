-- name: late_records
-- title: Records of a month that came in later
-- question: Which records about a month came in, or were corrected, after a given load?
-- grain: one row per record set, record file and what it did
-- reads: visits, point_visits, files, held_inspections, held_readings, held_findings, fates
-- param: month | local month, YYYY-MM
-- param: since | number of the last load that was seen
-- param: truth_days | days for which a finding tells about a visit
-- column: record_set | inspections, readings or findings
-- column: file | record file
-- column: received_on | when it came in
-- column: did | new or corrected
-- column: rows | rows about the month
-- column: lines | the first of their lines in the file
-- caveat: Units, technicians, regions and materials that came in later may change any figure; they are not listed.
WITH concerned AS (
    SELECT 'inspections' AS record_set, h._file AS number, h._line AS line
    FROM held_inspections h
    JOIN visits v ON v.inspection_id = h.inspection_id
    WHERE v.month = $month
    UNION ALL
    SELECT 'readings', h._file, h._line
    FROM held_readings h
    JOIN visits v ON v.inspection_id = h.inspection_id
    WHERE v.month = $month
    UNION ALL
    SELECT DISTINCT 'findings', h._file, h._line
    FROM held_findings h
    JOIN point_visits p ON p.site_id = h.site_id AND p.point_id = h.point_id
    WHERE p.month = $month AND h.found_on BETWEEN p.local_date AND CAST(date_add(p.local_date, to_days(CAST($truth_days AS INTEGER))) AS DATE)
), late AS (
    SELECT c.record_set, f.name AS file, f.received_on, f.number, c.line,
           CASE WHEN t.fate = 'corrected' THEN 'corrected' ELSE 'new' END AS did
    FROM concerned c
    JOIN files f ON f.number = c.number
    LEFT JOIN fates t ON t.record_set = c.record_set AND t.file = c.number AND t.line = c.line AND t.load = f.load
    WHERE f.load > $since
), numbered AS (
    SELECT *, row_number() OVER (PARTITION BY record_set, number, did ORDER BY line) AS nth
    FROM late
)
SELECT record_set, file, received_on, did, count(*) AS "rows", string_agg(CAST(line AS VARCHAR), ', ' ORDER BY line) FILTER (WHERE nth <= 5) AS lines
FROM numbered
GROUP BY record_set, number, file, received_on, did
ORDER BY record_set, number, did
