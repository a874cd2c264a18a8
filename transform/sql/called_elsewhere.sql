-- table: called_elsewhere
-- grain: one row per point-visit whose point another inspection called active within truth_days before or after
-- about: Such points are opened for that call, whatever this one was, so they are no sample of this visit's calls.
--        A table of its own, as point_decisions is: in one query with point_visits, a year of one million points
--        did not fit in 1 GiB; apart, each fits in half of that.
-- column: inspection_id | key, with point_id
WITH called AS (
    SELECT r.inspection_id, r.point_id, r.site_id, r.local_date, r.call
    FROM point_decisions d
    JOIN readings r ON r.reading_id = d.reading_id
)
SELECT DISTINCT v.inspection_id, v.point_id
FROM called v
JOIN called o ON o.site_id = v.site_id AND o.point_id = v.point_id AND o.inspection_id <> v.inspection_id AND o.call = 'active'
CROSS JOIN params p
WHERE date_diff('day', v.local_date, o.local_date) BETWEEN -p.truth_days AND p.truth_days
ORDER BY v.inspection_id, v.point_id
