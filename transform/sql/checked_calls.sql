-- table: checked_calls
-- grain: one row per point-visit whose call, active or clear, a decisive finding tells about
-- about: Everything a wrong call may go with, for the search for patterns. Besides the circumstances of the
--        deciding reading it says how the visit's other readings stand to it.
-- column: wrong | call active and truth not_active, or call clear and truth active
-- column: found | what was found: the cause where something else moved, otherwise the finding's result
-- column: lower_gain | what the newest decided reading of the point at a lower gain in the same visit said: shown, vanished or not_tried
-- column: shown_again | yes where another reading of the point in the same visit was active, otherwise no
-- column: control_moved | yes where a control reading of the visit was active, no where none was, no_control where there was none
-- column: many_at_once | yes where at least half of the visit's points and at least three were called active, otherwise no
-- column: level_far_above | yes where the level of an active call is in the top twentieth of the material's active readings of the year up to its month, otherwise no
WITH controls AS (
    SELECT inspection_id, sum(active) AS moved
    FROM reading_cells
    WHERE control
    GROUP BY inspection_id
), at_once AS (
    SELECT inspection_id, count(*) AS points, count(*) FILTER (WHERE call = 'active') AS active
    FROM point_visits
    GROUP BY inspection_id
)
SELECT p.inspection_id, p.point_id, p.site_id, p.site_key, p.local_date, p.month, p.call, p.called_elsewhere,
       p.false_alarm OR p.missed AS wrong,
       CASE WHEN p.result = 'other_movement' THEN p.cause ELSE p.result END AS found,
       p.material, p.density_class, p.thickness_band, p.gain, p.gain_share, p.season, p.region, p.hour_band, p.wind_band, v.wind_kmh, p.rain,
       p.temp_band, p.battery_band, p.hold_band, p.level_band, p.log_share_band, p.unit_id, p.unit_overdue, p.days_since_service, p.technician_id, p.purpose,
       CASE p.lower_call WHEN 'active' THEN 'shown' WHEN 'clear' THEN 'vanished' ELSE 'not_tried' END AS lower_gain,
       CASE WHEN p.active_readings > 1 THEN 'yes' ELSE 'no' END AS shown_again,
       CASE WHEN c.moved IS NULL THEN 'no_control' WHEN c.moved > 0 THEN 'yes' ELSE 'no' END AS control_moved,
       CASE WHEN a.active >= 3 AND 2 * a.active >= a.points THEN 'yes' ELSE 'no' END AS many_at_once,
       CASE WHEN p.call = 'active' AND p.level_pct >= l.level_pct THEN 'yes' ELSE 'no' END AS level_far_above
FROM point_visits p
JOIN visits v ON v.inspection_id = p.inspection_id
JOIN at_once a ON a.inspection_id = p.inspection_id
LEFT JOIN controls c ON c.inspection_id = p.inspection_id
LEFT JOIN level_cuts l ON l.month = p.month AND l.material = p.material
WHERE p.verified_by = 'decisive' AND p.call IN ('active', 'clear')
ORDER BY p.site_id, p.inspection_id, p.point_id
