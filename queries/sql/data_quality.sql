-- name: data_quality
-- title: What became of every row
-- question: For every record file taken in, how many rows were read, and what became of each of them by the as-of date?
-- grain: one row per record file
-- reads: files, taken, superseded, fate_before
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
    SELECT _file AS file, count(*) AS n
    FROM taken
    GROUP BY _file
), otherwise AS (
    -- Rows in parts that are there under another fate: those that count, as corrections do, and those that no longer do. They are few, and
    -- so it is they that are looked for, not every row.
    SELECT b.file, count(*) AS n
    FROM fate_before b
    LEFT JOIN superseded s ON s.file = b.file AND s.line = b.line
    WHERE b.fate <> 'accepted' AND (b.held OR s.file IS NOT NULL)
    GROUP BY b.file
), by_fate AS (
    SELECT file,
           count(*) FILTER (WHERE fate = 'duplicate') AS duplicate, count(*) FILTER (WHERE fate = 'corrected') AS corrected,
           count(*) FILTER (WHERE fate = 'waiting') AS waiting, count(*) FILTER (WHERE fate = 'rejected') AS rejected
    FROM fate_before
    GROUP BY file
)
SELECT f.name AS file, f.sha256, f.record_set, f.received_on, f.rows, coalesce(p.n, 0) - coalesce(o.n, 0) AS accepted, coalesce(b.duplicate, 0) AS duplicate,
       coalesce(b.corrected, 0) AS corrected, coalesce(b.waiting, 0) AS waiting, coalesce(b.rejected, 0) AS rejected
FROM files f
LEFT JOIN in_parts p ON p.file = f.number
LEFT JOIN otherwise o ON o.file = f.number
LEFT JOIN by_fate b ON b.file = f.number
ORDER BY f.number
