-- name: protocol_breaches
-- title: Every breach of the protocol
-- question: Where was a check breached, what was seen there, and what is asked?
-- grain: one row per breach, but for older ones where there are very many; the fact tables of the protocol have all
-- reads: protocol_readings, protocol_points, protocol_calls, copied_levels, protocol_visits
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- param: off | checks that are switched off, with commas between
-- param: most | how many are listed, the newest; and the newest 50 of each technician and check
-- column: check | the check
-- column: technician_id | who did the inspection, or made the call
-- column: site_id | site
-- column: inspection_id | inspection; empty for last digits, which are judged over all of them
-- column: point_id | point, where the breach is at one
-- column: reading_id | reading, where the breach is in one
-- column: date | local date
-- column: seen | what the records show
-- column: asked | what is asked
-- caveat: A breach is a departure from what was asked, not a fault of a person.
-- caveat: For copied_levels, copy_chance of honest sequences is expected among the breaches.
WITH chances AS (
    SELECT check_id, technician_id, site_id, month, local_date, inspection_id, point_id, reading_id, breach, seen FROM protocol_readings
    UNION ALL
    SELECT check_id, technician_id, site_id, month, local_date, inspection_id, point_id, reading_id, breach, seen FROM protocol_points
    UNION ALL
    SELECT check_id, technician_id, site_id, month, local_date, inspection_id, point_id, reading_id, breach, seen FROM protocol_calls
    UNION ALL
    SELECT check_id, technician_id, site_id, month, local_date, inspection_id, point_id, reading_id, breach, seen FROM copied_levels
    UNION ALL
    SELECT check_id, technician_id, site_id, month, local_date, inspection_id, point_id, reading_id, breach, seen FROM protocol_visits
), newest AS (
    SELECT c.*, row_number() OVER (ORDER BY local_date DESC, inspection_id DESC, check_id, point_id, reading_id, seen) AS nth,
           row_number() OVER (PARTITION BY check_id, technician_id ORDER BY local_date DESC, inspection_id DESC, point_id, reading_id, seen) AS nth_of_one
    FROM chances c
    WHERE breach AND month BETWEEN $from AND $to AND NOT list_contains(string_split($off, ','), check_id)
)
SELECT check_id AS "check", technician_id, site_id, inspection_id, coalesce(point_id, '') AS point_id, coalesce(reading_id, '') AS reading_id,
       CAST(local_date AS VARCHAR) AS "date", seen
FROM newest
WHERE nth <= $most OR nth_of_one <= 50
ORDER BY check_id, technician_id, local_date, inspection_id, point_id, reading_id, seen
