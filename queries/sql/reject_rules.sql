-- name: reject_rules
-- title: Which rules rows break
-- question: Which rules of the record contract were broken, in which files and columns, and how often?
-- grain: one row per record file, column and rule
-- reads: rejects
-- column: file | name of the record file
-- column: record_set | record set
-- column: column | column at fault; empty when the row as a whole is
-- column: rule | rule broken
-- column: times | how often
-- column: first_line | first physical line
-- column: example | raw value there
-- caveat: A row that breaks several rules counts once for each.
SELECT file, record_set, "column", rule, count(*) AS times, min(line) AS first_line, arg_min(value, line) AS example
FROM rejects
GROUP BY file, record_set, "column", rule
ORDER BY file, record_set, "column", rule
