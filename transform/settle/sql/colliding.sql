-- Keys that sound candidates share with each other or with rows already taken in, and those of rows that are judged again.
-- In: candidate_key, taken_key (_key, _file, _line), shared, again, fate_now; $record_set. Out: colliding.
CREATE OR REPLACE TEMP TABLE colliding AS
SELECT _key
FROM (SELECT _key, true AS is_new FROM candidate_key c
      SEMI JOIN shared s ON s._hash = hash(c._key)
      WHERE NOT EXISTS (SELECT 1 FROM fate_now f WHERE f.record_set = $record_set AND f.file = c._file AND f.line = c._line)
      UNION ALL
      SELECT _key, false FROM taken_key t
      SEMI JOIN shared s ON s._hash = hash(t._key))
GROUP BY _key
HAVING count(*) > 1 AND bool_or(is_new)
UNION
SELECT c._key FROM candidate_key c
JOIN again a ON a.file = c._file AND a.line = c._line;
