-- Rows that count again after this load. In: fate_now; $record_set. Out: not_held.
DELETE FROM not_held
USING fate_now f
WHERE f.record_set = $record_set AND f.held
  AND not_held.record_set = f.record_set AND not_held.file = f.file AND not_held.line = f.line;
