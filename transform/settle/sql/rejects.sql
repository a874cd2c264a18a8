-- Every rule that the rows rejected now break, once. A row that names something may have been rejected before for another
-- reason, and been taken in: what the newest load said of it counts. A rule names its record file; of files of one name the
-- newest by then is meant. In: rejects_ever (with the load that wrote each), files, fate_before. Out: rejects.
WITH told AS (
    SELECT max(f.number) AS number, r.load, r.file, r.record_set, r.line, r."column", r.rule, r.value, r.message
    FROM rejects_ever r
    JOIN files f ON f.name = r.file AND f.load <= r.load
    JOIN fate_before b ON b.file = f.number AND b.record_set = r.record_set AND b.line = r.line
    WHERE b.fate = 'rejected'
    GROUP BY r.load, r.file, r.record_set, r.line, r."column", r.rule, r.value, r.message
), newest AS (
    SELECT number, record_set, line, max(load) AS load FROM told GROUP BY number, record_set, line
)
SELECT t.number, t.file, t.record_set, t.line, t."column", t.rule, t.value, t.message
FROM told t
JOIN newest n ON n.number = t.number AND n.record_set = t.record_set AND n.line = t.line AND n.load = t.load
