-- name: flow
-- title: From readings to findings
-- question: How many readings became calls, how many calls were checked by looking, and what was found?
-- grain: one row per step and outcome
-- reads: reading_cells, visit_counts
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: step | readings, points, call, verified or finding
-- column: call | active, clear or unsure
-- column: outcome | what was found
-- column: n | how many
-- caveat: Laid out after STARD 2015, item 19.
SELECT step, call, outcome, CAST(n AS BIGINT) AS n FROM (
    SELECT 1 AS nth, 'readings' AS step, '' AS call, '' AS outcome, coalesce(sum(readings), 0) AS n FROM reading_cells WHERE month BETWEEN $from AND $to
    UNION ALL
    SELECT 2, 'control_readings', '', '', coalesce(sum(readings) FILTER (WHERE control), 0) FROM reading_cells WHERE month BETWEEN $from AND $to
    UNION ALL
    SELECT 3, 'points', '', '', coalesce(sum(n), 0) FROM visit_counts WHERE month BETWEEN $from AND $to
    UNION ALL
    SELECT 4, 'call', call, '', sum(n) FROM visit_counts WHERE month BETWEEN $from AND $to GROUP BY call
    UNION ALL
    SELECT 5, 'verified', call, '', sum(n) FROM visit_counts WHERE month BETWEEN $from AND $to AND verified_by = 'decisive' GROUP BY call
    UNION ALL
    SELECT 6, 'finding', call, truth, sum(n) FROM visit_counts WHERE month BETWEEN $from AND $to AND verified_by = 'decisive' GROUP BY call, truth
)
ORDER BY nth, call, outcome
