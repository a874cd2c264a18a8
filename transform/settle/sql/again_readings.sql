-- Readings taken in earlier that have to be judged again: those whose inspection or unit has another version since this
-- load, and those that an earlier load found wrong in that way. In: taken_readings, fate_now, fate_before. Out: again.
CREATE OR REPLACE TEMP TABLE again AS
WITH changed AS (
    SELECT record_set, value AS id FROM fate_now WHERE record_set IN ('inspections', 'units') AND held AND value <> ''
)
SELECT t._file AS file, t._line AS line FROM taken_readings t
WHERE t.inspection_id IN (SELECT id FROM changed WHERE record_set = 'inspections')
UNION
SELECT t._file, t._line FROM taken_readings t
WHERE t.unit_id IN (SELECT id FROM changed WHERE record_set = 'units')
UNION
SELECT t._file, t._line FROM taken_readings t
JOIN fate_before b ON b.record_set = 'readings' AND b.file = t._file AND b.line = t._line
WHERE b.fate IN ('waiting', 'rejected');
