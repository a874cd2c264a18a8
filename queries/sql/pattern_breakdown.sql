-- name: pattern_breakdown
-- title: What the patterns are made of
-- question: What was found in the wrong calls of each pattern, who made its calls and in which months, against all other calls?
-- grain: one row per pattern and finding, technician, quarter or month
-- reads: checked_calls
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- param: active_parts | active calls are those at one site in so many; 1 for all
-- param: clear_parts | clear calls likewise
-- column: direction | false_alarms or missed: which list the pattern is of
-- column: pattern | its number there
-- column: factors | the circumstances that make it
-- column: by | found, technician_id, quarter or month
-- column: value | what was found, who, or when (local)
-- column: checked | checked calls of the pattern; for what was found, wrong ones only
-- column: wrong | wrong calls among them
-- column: expected | wrong calls had they gone as the others; empty for what was found
-- column: by_chance_low | lower end of what chance makes of the expected in 95 of 100 cases
-- column: by_chance_high | upper end of it
-- column: share | of the pattern's wrong calls
-- column: other_checked | the same for all checked calls outside the pattern
-- column: other_wrong | wrong ones among them
-- column: other_share | of the wrong calls outside the pattern
-- caveat: Shares of few cases; see the counts.
WITH dated AS (
    SELECT call, found, technician_id, month, wrong,
           substr(month, 1, 5) || CASE WHEN substr(month, 6, 2) <= '03' THEN 'Q1' WHEN substr(month, 6, 2) <= '06' THEN 'Q2'
                                       WHEN substr(month, 6, 2) <= '09' THEN 'Q3' ELSE 'Q4' END AS quarter
    FROM checked_calls
    WHERE (call = 'active' OR NOT called_elsewhere) AND month BETWEEN $from AND $to
      AND site_key % CASE WHEN call = 'active' THEN $active_parts ELSE $clear_parts END = 0
), counted AS (
    SELECT call, CASE grouping(found, technician_id, quarter, month) WHEN 7 THEN 'found' WHEN 11 THEN 'technician_id' WHEN 13 THEN 'quarter' WHEN 14 THEN 'month' END AS "by",
           coalesce(found, technician_id, quarter, month) AS "value", count(*) AS checked, count(*) FILTER (WHERE wrong) AS wrong
    FROM dated
    GROUP BY GROUPING SETS ((call, found), (call, technician_id), (call, quarter), (call, month))
)
SELECT call, "by", "value", checked, wrong
FROM counted
ORDER BY call, "by", "value"
