-- table: recheck_pairs
-- grain: one row per recheck and point that both it and the inspection it repeats have a call for
-- about: A point called twice within truth_days, by two people, before any decisive finding there. A point
--        opened between the two is left out: the second person may have seen another wall.
-- column: inspection_id | the recheck, key with point_id
-- column: first_inspection | the inspection it repeats
-- column: month | local month of the recheck
-- column: material | as noted at the first inspection
-- column: first_call | active, clear or unsure
-- column: second_call | the recheck's
SELECT b.inspection_id, a.inspection_id AS first_inspection, b.site_id, b.point_id, b.month, a.material, a.density_class,
       a.technician_id AS first_technician, b.technician_id AS second_technician, a.call AS first_call, b.call AS second_call
FROM visits v
JOIN point_visits b ON b.inspection_id = v.inspection_id
JOIN point_visits a ON a.inspection_id = v.recheck_of AND a.point_id = b.point_id
CROSS JOIN params p
WHERE v.purpose = 'recheck' AND a.technician_id <> b.technician_id AND date_diff('day', a.local_date, b.local_date) BETWEEN 0 AND p.truth_days
  AND NOT EXISTS (SELECT 1 FROM held_findings f
                  WHERE f.site_id = b.site_id AND f.point_id = b.point_id AND f.method IN ('opened', 'drilled', 'borescope')
                    AND f.found_on BETWEEN a.local_date AND b.local_date)
ORDER BY b.month, b.inspection_id, b.point_id
