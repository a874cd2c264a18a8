-- The frame of an audit sample: every point-visit of the month with a call that can be contradicted, and the
-- signs of risk that its score is made of. Rechecks are checks themselves and are left out.
SELECT p.inspection_id, p.site_id, p.point_id, p.region, p.technician_id, p.unit_id, p.material,
       CAST(p.local_date AS VARCHAR) AS local_date, CAST(CAST(date_add(p.local_date, to_days(q.truth_days)) AS DATE) AS VARCHAR) AS due_by, p.call,
       EXISTS (SELECT 1 FROM recheck_pairs a WHERE a.first_inspection = p.inspection_id AND a.point_id = p.point_id AND a.second_call <> 'unsure') AS rechecked,
       p.verified_by = 'decisive' AS verified,
       p.density_class = 'dense' AND p.call = 'clear' AND p.max_gain = p.first_gain AS unstepped,
       p.call = 'active' AND p.gain_share >= 0.75 AS high_gain,
       p.hold_band = 'under 10' AS short_hold,
       p.unit_overdue = 'yes' AS unit_overdue
FROM point_visits p
CROSS JOIN params q
WHERE p.month = $month AND p.call IN ('active', 'clear') AND p.purpose <> 'recheck'
ORDER BY p.technician_id, p.inspection_id, p.point_id
