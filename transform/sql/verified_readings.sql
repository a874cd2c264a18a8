-- table: verified_readings
-- grain: one row per point-visit with a decisive finding, gain step and model of unit
-- about: How the readings of points of which the truth is known came out at each gain step.
-- column: inspection_id | key, with point_id, gain and model
-- column: call | of the point-visit; with what another visit called, as the weights of verification have it
-- column: first_model | true in one row of a point and gain step, so that points can be counted over models
-- column: readings | readings at the step
-- column: active | those of them that said active
SELECT p.inspection_id, p.point_id, p.site_key, p.month, p.material, p.thickness_band, r.gain, coalesce(u.model, 'unknown') AS model,
       p.call || CASE WHEN p.called_elsewhere THEN ', elsewhere active' ELSE '' END AS call, p.truth,
       row_number() OVER (PARTITION BY p.inspection_id, p.point_id, r.gain ORDER BY coalesce(u.model, 'unknown')) = 1 AS first_model,
       count(*) AS readings, count(*) FILTER (WHERE r.call = 'active') AS active
FROM point_visits p
JOIN these_readings r ON r.inspection_id = p.inspection_id AND r.point_id = p.point_id
JOIN held_units u ON u.unit_id = r.unit_id
WHERE NOT coalesce(r.control, false) AND p.verified_by = 'decisive'
GROUP BY p.inspection_id, p.point_id, p.site_key, p.month, p.material, p.thickness_band, r.gain, coalesce(u.model, 'unknown'),
         p.call || CASE WHEN p.called_elsewhere THEN ', elsewhere active' ELSE '' END, p.truth
ORDER BY p.inspection_id, p.point_id, r.gain, model
