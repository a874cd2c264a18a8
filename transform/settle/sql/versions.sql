-- Every version of a colliding key in order of arrival: the first is accepted, one that repeats the version
-- before it is a duplicate, any other is a correction. The last one that is not a duplicate is held.
-- In: candidate_row, taken_row (_key, _content, _file, _line), colliding, fate_now, fate_before; $record_set.
-- Out: fate_now.
INSERT INTO fate_now
WITH versions AS (
    SELECT c._key, c._content, c._file, c._line, true AS is_new FROM candidate_row c
    JOIN colliding USING (_key)
    WHERE NOT EXISTS (SELECT 1 FROM fate_now f WHERE f.record_set = $record_set AND f.file = c._file AND f.line = c._line)
    UNION ALL
    SELECT t._key, t._content, t._file, t._line, false FROM taken_row t
    JOIN colliding USING (_key)
), compared AS (
    SELECT *, row_number() OVER arrival AS nth, lag(_content) OVER arrival AS previous
    FROM versions
    WINDOW arrival AS (PARTITION BY _key ORDER BY _file, _line)
), fated AS (
    SELECT *, CASE WHEN nth = 1 THEN 'accepted' WHEN _content = previous THEN 'duplicate' ELSE 'corrected' END AS fate
    FROM compared
), placed AS (
    SELECT *, fate <> 'duplicate' AND nth = max(nth) FILTER (WHERE fate <> 'duplicate') OVER (PARTITION BY _key) AS held
    FROM fated
)
SELECT $record_set, p._file, p._line, p.fate, p.held, '',
       CASE p.fate WHEN 'duplicate' THEN 'same_key_same_content' WHEN 'corrected' THEN 'same_key_new_content' ELSE '' END,
       p._key, ''
FROM placed p
LEFT JOIN fate_before b ON b.record_set = $record_set AND b.file = p._file AND b.line = p._line
WHERE (p.fate, p.held) IS DISTINCT FROM (coalesce(b.fate, 'accepted'), coalesce(b.held, true))
   OR p.fate = 'duplicate' AND p.is_new; -- dropped once, it is dropped again
