-- The fates of one record set decided in this load, with the fate each row had before.
-- In: fate_now, fate_before; $record_set.
SELECT n.file, n.line, n.fate, n.held, n."column", n.rule, n.value, n.message,
       coalesce(b.fate, '') AS before, coalesce(b.rule, '') AS rule_before
FROM fate_now n
LEFT JOIN fate_before b ON b.record_set = n.record_set AND b.file = n.file AND b.line = n.line
WHERE n.record_set = $record_set
ORDER BY n.file, n.line;
