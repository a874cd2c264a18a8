-- name: technician_consistency
-- title: Are technicians in line with one another?
-- question: Does any technician call movement, raise false alarms or miss more or less often than all the others together, beyond what chance gives?
-- grain: one row per technician and measure
-- reads: visit_counts
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: technician_id | technician
-- column: measure | detections (active calls among point-visits), false_alarms (among verified active calls), missed (clear calls among points verified active)
-- column: opportunities | point-visits, verified active calls, or points verified active
-- column: observed | how many of them
-- column: expected | opportunities times the rate of all other technicians
-- column: rate | observed / opportunities
-- column: ratio | observed / expected
-- column: low | lower end of the exact 95% interval of the ratio (Poisson)
-- column: high | upper end of it
-- column: z | distance from the others in standard errors, two-proportion score
-- column: p | two-sided p value of z (two-proportion score test)
-- column: q | the same after control of the false discovery rate within the measure (Benjamini and Hochberg 1995)
-- column: enough | false where the opportunities are below the floor; such a row is not judged
-- column: standing | in_line; watch: outside the exact 95% limits; act: outside the exact 99.8% limits
-- caveat: Not adjusted for the mix of materials, seasons and regions each technician works in.
-- caveat: More or fewer is no verdict: it asks for a look, and it is never a rank.
WITH by_technician AS (
    SELECT technician_id,
           CAST(sum(n) AS BIGINT) AS point_visits,
           CAST(coalesce(sum(n) FILTER (WHERE call = 'active'), 0) AS BIGINT) AS active_calls,
           CAST(coalesce(sum(n) FILTER (WHERE call = 'active' AND verified_by = 'decisive'), 0) AS BIGINT) AS active_verified,
           CAST(coalesce(sum(n) FILTER (WHERE call = 'active' AND verified_by = 'decisive' AND truth = 'not_active'), 0) AS BIGINT) AS false_alarms,
           CAST(coalesce(sum(n) FILTER (WHERE call IN ('active', 'clear') AND verified_by = 'decisive' AND truth = 'active'), 0) AS BIGINT) AS truly_active,
           CAST(coalesce(sum(n) FILTER (WHERE call = 'clear' AND verified_by = 'decisive' AND truth = 'active'), 0) AS BIGINT) AS missed
    FROM visit_counts
    WHERE month BETWEEN $from AND $to
    GROUP BY technician_id
)
SELECT technician_id, 'detections' AS measure, point_visits AS opportunities, active_calls AS observed FROM by_technician
UNION ALL
SELECT technician_id, 'false_alarms', active_verified, false_alarms FROM by_technician
UNION ALL
SELECT technician_id, 'missed', truly_active, missed FROM by_technician
ORDER BY measure, technician_id
