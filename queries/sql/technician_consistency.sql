-- name: technician_consistency
-- title: Are technicians in line with one another?
-- question: Does any technician call movement, raise false alarms or miss more or less often than the average technician would under the same conditions, beyond what chance gives?
-- grain: one row per technician and measure
-- reads: condition_counts, params
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: technician_id | technician
-- column: measure | detections (active calls among point-visits), false_alarms (among verified active calls), missed (clear calls among points verified active)
-- column: opportunities | point-visits, verified active calls, or points verified active
-- column: observed | how many of them
-- column: expected | what the average technician would give under the same materials, thickness bands, seasons, regions and purposes; gain is left out, since it is the technician's own choice
-- column: rate | observed / opportunities
-- column: ratio | observed / expected
-- column: low | lower end of the exact 95% interval of the ratio, on counts divided by the design effect (Korn and Graubard 1998)
-- column: high | upper end of it
-- column: design_effect | how much more the count varies than as many independent points: points of a site are alike, and the expected count is itself an estimate
-- column: spread | standard deviation of ratios between technicians beyond chance, the furthest quarter at either end drawn in (Spiegelhalter 2005); one figure a measure
-- column: limit_low_998 | ratio below which one technician in a thousand falls by chance: exact binomial limit, moved out by the design effect and the spread
-- column: limit_low_95 | the same for one in forty
-- column: limit_high_95 | ratio above which one in forty falls
-- column: limit_high_998 | ratio above which one in a thousand falls
-- column: z | distance from the expected count in standard errors so widened, by the exact mid-p tail (Lancaster 1961)
-- column: p | two-sided p value of z
-- column: q | the same after control of the false discovery rate within the measure (Benjamini and Hochberg 1995)
-- column: shrunk_ratio | ratio drawn towards 1, the further the less it rests on (empirical Bayes, Clayton and Kaldor 1987)
-- column: shrunk_rate | shrunk_ratio times expected / opportunities
-- column: expected_with_gain | expected, with the gain step added to the conditions
-- column: ratio_with_gain | observed / expected_with_gain
-- column: explained_by_gain | share of observed - expected that goes with the gain the technician chose; empty where the interval of the ratio holds 1, as there is no difference to explain
-- column: enough | false where the row is not judged
-- column: why_not | the reason
-- column: standing | act: detections outside the widened 99.8% limits and q at most 0.01, or false alarms or missed points above theirs and q at most 0.02 (fewer ask for no act); watch: outside the widened 95% limits, or below the 99.8% one for false alarms and missed points, and q at most 0.05; else in_line
-- caveat: More or fewer is no verdict: it asks for a look, and it is never a rank.
-- caveat: The expected count comes from a logistic model of conditions with an effect for each technician, all drawn towards 0 (penalised quasi-likelihood, Breslow and Clayton 1993), so that a technician's own cases speak of conditions only through what differs within them. The average technician is a robust one (Huber 1964): a few who are far out do not drag the others.
-- caveat: A condition that only one technician works under cannot be told from the technician; the design effect grows by that doubt.
-- caveat: A missed point is known only where a clear call was opened. The expected count goes by the share of each technician's own clear and active calls that were opened, apart for points that another visit called active, which are opened for that call. It takes the clear calls opened as a random draw among those.
-- caveat: For false alarms the gain is that of the reading that called it. For detections and missed points it is the step at which the point was first read, since what shows decides where stepping ends.
-- caveat: With nobody out of line, seeded simulations of 14 technicians have anyone in act in fewer than one period in twenty. Someone with 2.5 times the false alarms is in act in most of them only where some thirty false alarms or more were to be expected of them; with fewer, chance alone may hide as much.
WITH watched AS (
    SELECT technician_id, max(month) AS last_month FROM condition_counts WHERE month BETWEEN $from AND $to GROUP BY technician_id
), points AS (
    -- In groups of sites a month is told only where drift asks for it: of verified active calls.
    SELECT c.technician_id, c.site_key, CASE WHEN c.false_alarm_known OR NOT p.sites_grouped THEN c.month ELSE w.last_month END AS month,
           c.material, c.thickness_band, c.season, c.region, c.purpose, c.called_elsewhere, c.gain, c.first_gain,
           c.n, c.active, CASE WHEN c.false_alarm_known THEN c.n ELSE 0 END AS active_verified, c.false_alarms, c.clear, c.clear_verified, c.missed
    FROM condition_counts c
    JOIN watched w ON w.technician_id = c.technician_id
    CROSS JOIN params p
    WHERE c.month BETWEEN $from AND $to
)
SELECT p.technician_id, p.site_key, p.month, p.material, p.thickness_band, p.season, p.region, p.purpose, p.called_elsewhere, p.gain, p.first_gain,
       CAST(sum(p.n) AS BIGINT) AS point_visits, CAST(sum(p.active) AS BIGINT) AS active_calls, CAST(sum(p.active_verified) AS BIGINT) AS active_verified,
       CAST(sum(p.false_alarms) AS BIGINT) AS false_alarms, CAST(sum(p.clear) AS BIGINT) AS clear_calls, CAST(sum(p.clear_verified) AS BIGINT) AS clear_verified,
       CAST(sum(p.missed) AS BIGINT) AS missed
FROM points p
GROUP BY p.technician_id, p.site_key, p.month, p.material, p.thickness_band, p.season, p.region, p.purpose, p.called_elsewhere, p.gain, p.first_gain
ORDER BY p.technician_id, p.site_key, p.month, p.material, p.thickness_band, p.season, p.region, p.purpose, p.called_elsewhere, p.gain, p.first_gain
