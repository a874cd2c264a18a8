-- table: unit_counts
-- grain: one row per unit and whether its service was due before the day of the reading
-- about: How much a unit was used.
-- column: unit_overdue | yes, no or unknown, see readings
-- column: readings | readings, control readings too
-- column: inspections | inspections with one of them
-- column: last_day | local date of the last of them
SELECT month, unit_id, unit_overdue, CAST(sum(readings) AS BIGINT) AS readings, count(DISTINCT inspection_id) AS inspections, max(local_date) AS last_day
FROM reading_cells
GROUP BY month, unit_id, unit_overdue
ORDER BY month, unit_id, unit_overdue
