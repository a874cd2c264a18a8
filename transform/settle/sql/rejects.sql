-- Every broken rule of the rows that are rejected now, once: a row that names something may have been taken in since, or been
-- rejected by more than one load. A rule names its record file; of files of one name the newest by then is meant.
-- In: rejects_ever (with the load that wrote each), files, fate_before. Out: rejects.
WITH told AS (
    SELECT max(f.number) AS number, r.load, r.file, r.record_set, r.line, r."column", r.rule, r.value, r.message
    FROM rejects_ever r
    JOIN files f ON f.name = r.file AND f.load <= r.load
    JOIN fate_before b ON b.file = f.number AND b.record_set = r.record_set AND b.line = r.line
    WHERE b.fate = 'rejected'
    GROUP BY r.load, r.file, r.record_set, r.line, r."column", r.rule, r.value, r.message
)
SELECT number, file, record_set, line, "column", rule, value, arg_max(message, load) AS message
FROM told
GROUP BY number, file, record_set, line, "column", rule, value
