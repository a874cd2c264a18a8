-- name: flagged_inspections
-- title: Inspections to look at
-- question: Which inspections hold a missed point, a false alarm or a breach of consequence, or were drawn for an audit, and in what circumstances?
-- grain: one row per inspection whose weight is 5 or more or that was drawn for an audit sample, and a few lighter ones that are examples; where there are very many, the weightiest
-- reads: visits, inspection_counts, inspection_breaches, samples
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- param: off | checks that are switched off, with commas between
-- param: weights | weight of each check, as check=weight with commas between
-- param: wanted | inspections that are listed whatever their weight, one a line
-- param: most | how many others are listed, the weightiest, then the newest
-- column: inspection_id | inspection
-- column: site_id | site
-- column: technician_id | who did it
-- column: region | region
-- column: date | local date
-- column: start | local time of the start
-- column: minutes | from start to end
-- column: purpose | routine, pre_purchase, call_back or recheck
-- column: outcome | active, clear or inconclusive, as reported
-- column: air_temp_c | air temperature, degrees Celsius
-- column: wind_kmh | wind, km/h
-- column: rain | none, light or heavy
-- column: areas_not_inspected | what could not be reached and why, as written
-- column: units | the units used
-- column: readings | readings, control readings left out
-- column: controls | control readings
-- column: points | points tested
-- column: called_active | points called active
-- column: unsure | points left unsure
-- column: false_alarms | points called active where something else was found by looking
-- column: missed | points called clear where activity was found by looking
-- column: breaches | breaches of the protocol
-- column: checks | the checks breached
-- column: sampled | points of it drawn for an audit sample
-- column: weight | 10 a missed point, 6 a false alarm, and the weight of each check breached, once
-- column: page | whether there is a page of its own
-- caveat: A single missed point or false alarm is no fault: no sensor shows everything, and walls hold more than termites.
-- caveat: The weights are the house's choice; they say what to look at first.
WITH weights AS (
    SELECT split_part(w.entry, '=', 1) AS check_id, CAST(split_part(w.entry, '=', 2) AS BIGINT) AS weight
    FROM UNNEST(string_split($weights, ',')) AS w (entry)
), breached AS (
    SELECT b.inspection_id, CAST(sum(b.breaches) AS BIGINT) AS breaches, CAST(sum(w.weight) AS BIGINT) AS weight
    FROM inspection_breaches b
    JOIN weights w ON w.check_id = b.check_id
    WHERE b.month BETWEEN $from AND $to AND NOT list_contains(string_split($off, ','), b.check_id)
    GROUP BY b.inspection_id
), drawn AS (
    SELECT inspection_id, count(DISTINCT point_id) AS points
    FROM samples
    WHERE part <> '' AND month BETWEEN $from AND $to
    GROUP BY inspection_id
), weighed AS (
    SELECT c.inspection_id, c.local_date, 10 * c.missed + 6 * c.false_alarms + coalesce(b.weight, 0) AS weight,
           list_contains(string_split($wanted, chr(10)), c.inspection_id) AS wanted, coalesce(d.points, 0) > 0 AS drawn
    FROM inspection_counts c
    LEFT JOIN breached b ON b.inspection_id = c.inspection_id
    LEFT JOIN drawn d ON d.inspection_id = c.inspection_id
    WHERE c.month BETWEEN $from AND $to AND (b.breaches > 0 OR c.false_alarms > 0 OR c.missed > 0 OR d.points > 0)
), ranked AS (
    SELECT inspection_id, weight, wanted, row_number() OVER (ORDER BY weight DESC, local_date DESC, inspection_id) AS nth
    FROM weighed
    WHERE weight >= 5 OR drawn OR wanted
), kept AS (
    SELECT inspection_id, weight
    FROM ranked
    WHERE wanted OR nth <= $most
), departed AS (
    SELECT b.inspection_id, CAST(sum(b.breaches) AS BIGINT) AS breaches, string_agg(b.check_id, ', ' ORDER BY b.check_id) AS checks
    FROM inspection_breaches b
    JOIN kept k ON k.inspection_id = b.inspection_id
    WHERE b.month BETWEEN $from AND $to AND NOT list_contains(string_split($off, ','), b.check_id)
    GROUP BY b.inspection_id
)
SELECT v.inspection_id, v.site_id, v.technician_id, v.region, CAST(v.local_date AS VARCHAR) AS "date",
       strftime(v.started_at AT TIME ZONE v.time_zone, '%H:%M') AS "start",
       coalesce(date_diff('second', v.started_at, v.ended_at) / 60.0, CAST('NaN' AS DOUBLE)) AS minutes, v.purpose, v.outcome,
       coalesce(v.air_temp_c, CAST('NaN' AS DOUBLE)) AS air_temp_c, coalesce(v.wind_kmh, CAST('NaN' AS DOUBLE)) AS wind_kmh, coalesce(v.rain, '') AS rain,
       coalesce(v.areas_not_inspected, '') AS areas_not_inspected, c.units, c.readings, c.controls, c.points, c.active AS called_active, c.unsure,
       c.false_alarms, c.missed, coalesce(b.breaches, 0) AS breaches, coalesce(b.checks, '') AS checks,
       coalesce(d.points, 0) AS sampled, k.weight
FROM kept k
JOIN visits v ON v.inspection_id = k.inspection_id
JOIN inspection_counts c ON c.inspection_id = v.inspection_id
LEFT JOIN departed b ON b.inspection_id = v.inspection_id
LEFT JOIN drawn d ON d.inspection_id = v.inspection_id
ORDER BY k.weight DESC, v.local_date DESC, v.inspection_id
