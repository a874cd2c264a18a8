-- name: unit_level
-- title: Does a unit's level on clear places creep?
-- question: Does the level that a unit shows on places known to be clear rise or fall from month to month?
-- grain: one row per unit, gain step and local month with control readings
-- reads: unit_levels
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: unit_id | unit
-- column: gain | step of the control readings
-- column: month | local month
-- column: readings | control readings with a level
-- column: median_level | their median level, percent of full scale
-- column: used | true where the month counts in the unit's trend: at its most read step, with 3 readings or more
-- caveat: Control places differ from visit to visit; a trend may be one of places.
SELECT unit_id, gain, month, readings, median_level
FROM unit_levels
WHERE month BETWEEN $from AND $to
ORDER BY unit_id, gain, month
