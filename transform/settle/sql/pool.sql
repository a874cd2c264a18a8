-- Candidates that waited since an earlier load and are now sound. In: candidate, again, fate_now; $record_set,
-- $first_file (number of this load's first file). Out: fate_now.
INSERT INTO fate_now
SELECT $record_set, c._file, c._line, 'accepted', true, '', '', '', ''
FROM candidate c
WHERE c._file < $first_file
  AND NOT EXISTS (SELECT 1 FROM again a WHERE a.file = c._file AND a.line = c._line)
  AND NOT EXISTS (SELECT 1 FROM fate_now f WHERE f.record_set = $record_set AND f.file = c._file AND f.line = c._line);
