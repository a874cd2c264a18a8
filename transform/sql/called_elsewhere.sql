-- table: called_elsewhere
-- grain: one row per point-visit whose point another inspection called active within truth_days before or after
-- about: Such points are opened for that call, whatever this one was, so they are no sample of this visit's calls.
--        The near ones are the decisions of all months within truth_days of this one.
-- column: inspection_id | key, with point_id
SELECT DISTINCT v.inspection_id, v.point_id, v.month
FROM point_decisions v
JOIN near_point_decisions o ON o.site_id = v.site_id AND o.point_id = v.point_id AND o.inspection_id <> v.inspection_id AND o.call = 'active'
CROSS JOIN params p
WHERE date_diff('day', v.local_date, o.local_date) BETWEEN -p.truth_days AND p.truth_days
ORDER BY v.inspection_id, v.point_id
