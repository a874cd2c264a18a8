-- name: data_quality
-- title: What became of every row
-- question: For every record file taken in, how many rows were read, and what became of each of them by the as-of date?
-- grain: one row per record file
-- reads: files, taken, fate_before
-- column: file | name of the record file
-- column: sha256 | checksum of its content
-- column: record_set | record set
-- column: received_on | date the load was received
-- column: rows | rows read
-- column: accepted | taken in
-- column: duplicate | same key and same content as a row already held
-- column: corrected | same key, new content: counts from then on; the older row is kept
-- column: waiting | sound in itself, but names something not known yet
-- column: rejected | breaks a rule
-- caveat: rows = accepted + duplicate + corrected + waiting + rejected, for every file, at loading and ever after.
WITH in_parts AS (
    SELECT t._file AS file, count(*) AS n
    FROM taken t
    LEFT JOIN fate_before b ON b.file = t._file AND b.line = t._line
    WHERE coalesce(b.fate, 'accepted') = 'accepted'
    GROUP BY t._file
), by_fate AS (
    SELECT file,
           count(*) FILTER (WHERE fate = 'duplicate') AS duplicate, count(*) FILTER (WHERE fate = 'corrected') AS corrected,
           count(*) FILTER (WHERE fate = 'waiting') AS waiting, count(*) FILTER (WHERE fate = 'rejected') AS rejected
    FROM fate_before
    GROUP BY file
)
SELECT f.name AS file, f.sha256, f.record_set, f.received_on, f.rows, coalesce(p.n, 0) AS accepted, coalesce(b.duplicate, 0) AS duplicate,
       coalesce(b.corrected, 0) AS corrected, coalesce(b.waiting, 0) AS waiting, coalesce(b.rejected, 0) AS rejected
FROM files f
LEFT JOIN in_parts p ON p.file = f.number
LEFT JOIN by_fate b ON b.file = f.number
ORDER BY f.number
