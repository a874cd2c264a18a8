-- Rows dropped as duplicates whose key is judged anew, each with the row taken in that it repeated: the last sound version
-- before it. In: anew_key (_key), taken_key (_key, _file, _line), fates, fate_before; $record_set. Out: dropped.
CREATE OR REPLACE TEMP TABLE dropped AS
WITH repeats AS (
    SELECT DISTINCT f.value AS _key, f.file, f.line
    FROM fates f
    JOIN fate_before b ON b.record_set = f.record_set AND b.file = f.file AND b.line = f.line
    WHERE f.record_set = $record_set AND f.fate = 'duplicate' AND b.fate = 'duplicate'
      AND f.value IN (SELECT _key FROM anew_key)
), placed AS (
    SELECT r.file, r.line, t._file AS of_file, t._line AS of_line,
           row_number() OVER (PARTITION BY r.file, r.line ORDER BY t._file DESC, t._line DESC) AS nth
    FROM repeats r
    JOIN taken_key t ON t._key = r._key AND (t._file < r.file OR t._file = r.file AND t._line <= r.line)
    LEFT JOIN fate_before b ON b.record_set = $record_set AND b.file = t._file AND b.line = t._line
    WHERE coalesce(b.fate, 'accepted') NOT IN ('waiting', 'rejected')
)
SELECT file, line, of_file, of_line FROM placed
WHERE nth = 1 AND NOT (of_file = file AND of_line = line); -- one that was taken in before it became a duplicate is there already
