-- The newest fate of every row that has one, before this load. In: fates. Out: fate_before.
SELECT record_set, file, line, arg_max(fate, load) AS fate, arg_max(held, load) AS held, arg_max(rule, load) AS rule
FROM fates
GROUP BY record_set, file, line
