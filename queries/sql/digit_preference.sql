-- name: digit_preference
-- title: Last digits of levels
-- question: Does anyone write down levels whose last digits are used too unevenly to have been read off?
-- grain: one row per technician and unit model
-- reads: technician_levels
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: technician_id | technician
-- column: model | model of the units, since models show levels in their own steps
-- column: place | the digit judged: tenths, or ones where the model shows no tenths
-- column: levels | levels judged; 0 and 100 are left out, as the ends of the scale
-- column: d0 | how many end in 0
-- column: d1 | … in 1
-- column: d2 | … in 2
-- column: d3 | … in 3
-- column: d4 | … in 4
-- column: d5 | … in 5
-- column: d6 | … in 6
-- column: d7 | … in 7
-- column: d8 | … in 8
-- column: d9 | … in 9
-- column: chi_even | chi-square against even shares of the ten digits, 9 degrees of freedom (Pearson 1900)
-- column: p_even | its p value
-- column: chi_others | chi-square of the difference from all others with the same model (Pearson 1900)
-- column: p_others | its p value
-- column: size | of the unevenness: Cohen's w, the root of chi_even by levels (Cohen 1988)
-- column: p | the larger of the two p values: both must be small
-- column: q | the same after control of the false discovery rate over technicians and models (Benjamini and Hochberg 1995)
-- column: enough | false where there are too few levels, by this technician or by the others, to judge
-- column: standing | act: q below 0.01 and a size of 0.1 or more (small, by Cohen 1988); watch: q below 0.05 and such a size; in_line; empty where not judged
-- caveat: Even shares are expected of a digit finer than what the hand can steer; a model that shows coarse steps gives uneven ones to all, which is why the others count too.
-- caveat: Uneven digits say that levels were rounded or thought up, not which readings.
WITH levels AS (
    SELECT technician_id, model, CAST(round(level_pct * 10) AS INTEGER) AS tenths, n
    FROM technician_levels
    WHERE month BETWEEN $from AND $to AND level_pct > 0 AND level_pct < 100
), shown AS (
    SELECT model, 100 * coalesce(sum(n) FILTER (WHERE tenths % 10 <> 0), 0) >= sum(n) AS tenths_shown
    FROM levels
    GROUP BY model
), digits AS (
    SELECT l.technician_id, l.model, s.tenths_shown, CASE WHEN s.tenths_shown THEN l.tenths % 10 ELSE (l.tenths // 10) % 10 END AS digit, l.n
    FROM levels l
    JOIN shown s ON s.model = l.model
)
SELECT technician_id, model, CASE WHEN tenths_shown THEN 'tenths' ELSE 'ones' END AS place,
       CAST(coalesce(sum(n) FILTER (WHERE digit = 0), 0) AS BIGINT), CAST(coalesce(sum(n) FILTER (WHERE digit = 1), 0) AS BIGINT), CAST(coalesce(sum(n) FILTER (WHERE digit = 2), 0) AS BIGINT), CAST(coalesce(sum(n) FILTER (WHERE digit = 3), 0) AS BIGINT),
       CAST(coalesce(sum(n) FILTER (WHERE digit = 4), 0) AS BIGINT), CAST(coalesce(sum(n) FILTER (WHERE digit = 5), 0) AS BIGINT), CAST(coalesce(sum(n) FILTER (WHERE digit = 6), 0) AS BIGINT), CAST(coalesce(sum(n) FILTER (WHERE digit = 7), 0) AS BIGINT),
       CAST(coalesce(sum(n) FILTER (WHERE digit = 8), 0) AS BIGINT), CAST(coalesce(sum(n) FILTER (WHERE digit = 9), 0) AS BIGINT)
FROM digits
GROUP BY technician_id, model, tenths_shown
ORDER BY technician_id, model
