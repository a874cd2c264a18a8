-- Hashes of keys that candidates may share with each other or with rows already taken in. A key is looked at only if its
-- hash is among them: nearly all keys come once, and 64 bits are quicker to gather than the keys themselves.
-- In: candidate_key, taken_key (_key). Out: shared.
CREATE OR REPLACE TEMP TABLE shared AS
SELECT _hash FROM (SELECT hash(_key) AS _hash FROM candidate_key) GROUP BY _hash HAVING count(*) > 1
UNION
SELECT hash(_key) FROM taken_key WHERE hash(_key) IN (SELECT hash(_key) FROM candidate_key);
