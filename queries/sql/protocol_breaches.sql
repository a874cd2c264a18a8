-- name: protocol_breaches
-- title: Every breach of the protocol
-- question: Where was a check breached, what was seen there, and what is asked?
-- grain: one row per breach, but for older ones where there are very many; the fact tables of the protocol have all
-- reads: protocol_readings, protocol_points, protocol_calls, copied_levels, protocol_visits, check_counts
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
), counted AS (
    SELECT month, check_id, technician_id, sum(breaches) AS n
    FROM check_counts
    WHERE breaches > 0 AND check_id <> 'own_finding' AND month BETWEEN $from AND $to AND NOT list_contains(string_split($off, ','), check_id)
    GROUP BY month, check_id, technician_id
), later AS (
    -- how many breaches there are in later months: of the same check and technician, and in all
    SELECT month, check_id, technician_id, sum(n) OVER (PARTITION BY check_id, technician_id ORDER BY month DESC) - n AS of_one,
           sum(n) OVER (ORDER BY month DESC) - sum(n) OVER (PARTITION BY month) AS of_all
    FROM counted
), needed AS (
    SELECT month, check_id, technician_id
    FROM later
    WHERE of_one < 50 OR of_all < $most
), newest AS (
    SELECT c.*, row_number() OVER (ORDER BY c.local_date DESC, c.inspection_id DESC, c.check_id, c.point_id, c.reading_id, c.seen) AS nth,
           row_number() OVER (PARTITION BY c.check_id, c.technician_id ORDER BY c.local_date DESC, c.inspection_id DESC, c.point_id, c.reading_id, c.seen) AS nth_of_one
    FROM chances c
    LEFT JOIN needed n ON n.month = c.month AND n.check_id = c.check_id AND n.technician_id = c.technician_id
    WHERE c.breach AND c.month BETWEEN $from AND $to AND NOT list_contains(string_split($off, ','), c.check_id)
      AND (n.month IS NOT NULL OR c.check_id = 'own_finding') -- which is dated by the finding, maybe in a later month
)
SELECT check_id AS "check", technician_id, site_id, inspection_id, coalesce(point_id, '') AS point_id, coalesce(reading_id, '') AS reading_id,
       CAST(local_date AS VARCHAR) AS "date", seen
FROM newest
WHERE nth <= $most OR nth_of_one <= 50
ORDER BY check_id, technician_id, local_date, inspection_id, point_id, reading_id, seen
