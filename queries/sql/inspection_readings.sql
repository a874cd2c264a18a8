-- name: inspection_readings
-- title: The readings of inspections with a page
-- question: What was read at each point of an inspection that is looked at, in what order, and what was found there later?
-- grain: one row per reading of an inspection with a page
-- reads: held_readings, visits, point_visits
-- param: chosen | the inspections with a page, one a line
-- column: inspection_id | inspection
-- column: point_id | point
-- column: reading_id | reading
-- column: minute | minutes since the start of the visit
-- column: unit_id | unit
-- column: material | material
-- column: thickness_mm | thickness, mm
-- column: gain | gain step
-- column: hold_s | hold, seconds
-- column: level_pct | furthest movement of the level, percent of full scale
-- column: call | active, clear or unsure
-- column: battery_pct | battery, percent
-- column: control | true for a reading on a place known to be clear
-- column: point_call | the call of the point: its last reading that is not unsure
-- column: truth | active, not_active or unverified
-- column: verified_by | decisive, report or none
-- column: found | result of the first decisive finding that says what truth says
-- column: cause | what moved
-- column: method | how it was looked at
-- column: days_to_finding | days from the visit to the first finding
-- caveat: Only of inspections with a page; flagged_inspections lists all that were flagged.
WITH visited AS (
    SELECT * FROM visits WHERE list_contains(string_split($chosen, chr(10)), inspection_id)
), points AS (
    SELECT * FROM point_visits WHERE list_contains(string_split($chosen, chr(10)), inspection_id)
)
SELECT r.inspection_id, r.point_id, r.reading_id, date_diff('second', v.started_at, r.taken_at) / 60.0 AS "minute", r.unit_id, r.material,
       coalesce(r.thickness_mm, CAST('NaN' AS DOUBLE)) AS thickness_mm, r.gain, coalesce(r.hold_s, CAST('NaN' AS DOUBLE)) AS hold_s,
       coalesce(r.level_pct, CAST('NaN' AS DOUBLE)) AS level_pct, r.call, coalesce(r.battery_pct, CAST('NaN' AS DOUBLE)) AS battery_pct, coalesce(r.control, false) AS control,
       coalesce(p.call, '') AS point_call, coalesce(p.truth, 'unverified') AS truth, coalesce(p.verified_by, 'none') AS verified_by,
       coalesce(p.result, '') AS found, coalesce(p.cause, '') AS cause, coalesce(p.method, '') AS method, p.days_to_finding
FROM held_readings r
JOIN visited v ON v.inspection_id = r.inspection_id
LEFT JOIN points p ON p.inspection_id = r.inspection_id AND p.point_id = r.point_id AND NOT coalesce(r.control, false)
ORDER BY r.inspection_id, r.taken_at, r.reading_id
