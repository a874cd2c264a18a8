-- name: unit_health
-- title: Which units need looking into?
-- question: Does a unit raise more false alarms than where it is used and who uses it would give, while past its service date or in service, and does anything else in its readings ask for a look?
-- grain: one row per unit
-- reads: held_units, unit_counts, people_counts, params
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: unit_id | unit
-- column: model | model
-- column: service_due_on | day its service is due, or null
-- column: service_overdue | whether that day was past on the last day with a reading in the period; null where no day is known
-- column: readings | readings in the period, control readings included
-- column: readings_overdue | those made past the day
-- column: judged_on | overdue where enough was tested past the day, else in_service: what observed to q speak of
-- column: points | point-visits compared
-- column: observed | false alarms among them: called active, and a decisive finding was not active
-- column: expected | false alarms that the same points would give with the other units in service: by material, season within region, technician and the technician's half-year (indirect standardisation)
-- column: ratio | observed / expected
-- column: low | lower end of its 95% interval, widened by the variation between sites
-- column: high | upper end of it
-- column: z | distance from expected, narrowed by how much units differ among themselves (additive over-dispersion, Spiegelhalter 2005)
-- column: p | two-sided p value of z
-- column: q | the same after control of the false discovery rate over units (Benjamini and Hochberg 1995)
-- column: observed_in_service | false alarms in service
-- column: expected_in_service | as expected, in service
-- column: ratio_in_service | observed / expected in service
-- column: observed_overdue | false alarms past the service date
-- column: expected_overdue | as expected, past the service date
-- column: ratio_overdue | observed / expected past the service date
-- column: active_verified_share | share of the unit's active calls that were ever verified
-- column: others_verified_share | the same share of all other units; false alarms can only be seen where calls are verified
-- column: alarms | more or fewer than expected where outside the 95% limits, else as_expected; too_few where not enough
-- column: technicians | technicians of whom the unit was expected to give one false alarm or more
-- column: technicians_above | those of them with more than expected
-- column: not_compared | point-visits by technicians who used no other unit in service, left out
-- column: control_months | months with enough control readings at one step
-- column: level_slope | change of the median control level in a month with readings, percent of full scale (Sen 1968)
-- column: level_low | lower end of its 95% interval
-- column: level_high | upper end of it
-- column: level_q | q of a steady rise or fall (Mann 1945; Kendall 1975) over units
-- column: level | rises, falls, steady, or too few below 8 months
-- column: clock | see unit_use
-- column: log_days_known | unit-days whose clock offset its own log tells, see log_match
-- column: log_days_off | of these, with a clock that was off; over half of at least five asks for a look
-- column: enough | false where fewer points than the floor, fewer than 9 sites or fewer than 5 expected false alarms
-- column: standing | act: false alarms outside the 99.8% limits with q at most 0.01, past the day or in service; watch: outside the 95% limits, overdue, a level that creeps or a clock that is off; else in_line
-- column: why | what the standing rests on
-- caveat: More false alarms than expected is a reason to have a unit looked at, no proof of a fault.
-- caveat: A service day that was moved on in the records hides that the unit was overdue before.
-- caveat: Hours on one charge and the clock are in unit_use; both rest on readings alone.
WITH period AS (
    SELECT max(last_day) AS last_day FROM unit_counts WHERE month BETWEEN $from AND $to
), calls AS (
    SELECT unit_id, unit_overdue = 'yes' AS overdue, CAST(site_key % p.pooled_groups AS VARCHAR) AS site, material, region || ' ' || season AS season, technician_id,
           concat(substr(month, 1, 4), CASE WHEN substr(month, 6) > '06' THEN '-07' ELSE '-01' END) AS half,
           CAST(sum(n) AS BIGINT) AS points, CAST(sum(active) AS BIGINT) AS active, CAST(sum(active_verified) AS BIGINT) AS verified,
           CAST(sum(active_verified - confirmed) AS BIGINT) AS false_alarms
    FROM people_counts
    CROSS JOIN params p
    WHERE month BETWEEN $from AND $to
    GROUP BY unit_id, unit_overdue = 'yes', site_key % p.pooled_groups, material, region || ' ' || season, technician_id,
             concat(substr(month, 1, 4), CASE WHEN substr(month, 6) > '06' THEN '-07' ELSE '-01' END)
)
SELECT 'unit' AS part, u.unit_id, coalesce(u.model, ''), u.service_due_on < p.last_day AS overdue, CAST(u.service_due_on AS VARCHAR) AS due, '' AS site, '' AS material,
       '' AS season, '' AS technician_id, '' AS half, CAST(sum(r.readings) AS BIGINT) AS points, 0 AS active, 0 AS verified, CAST(coalesce(sum(r.readings) FILTER (WHERE r.unit_overdue = 'yes'), 0) AS BIGINT) AS false_alarms
FROM held_units u
JOIN unit_counts r ON r.unit_id = u.unit_id AND r.month BETWEEN $from AND $to
CROSS JOIN period p
GROUP BY u.unit_id, u.model, u.service_due_on, p.last_day
UNION ALL
SELECT 'calls', unit_id, '', overdue, NULL, site, material, season, technician_id, half, points, active, verified, false_alarms
FROM calls
ORDER BY part, unit_id, overdue, site, material, season, technician_id, half
