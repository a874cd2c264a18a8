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
-- column: level_far_above | yes where the level is in the top twentieth of the material's active readings, otherwise no
WITH checked AS (
    SELECT v.inspection_id, v.point_id, v.gain
    FROM point_visits v
    WHERE v.verified_by = 'decisive' AND v.call IN ('active', 'clear')
), beside AS (
    SELECT c.inspection_id, c.point_id, r.call, r.gain < c.gain AS lower_gain,
           row_number() OVER (PARTITION BY c.inspection_id, c.point_id, r.gain < c.gain ORDER BY r.taken_at DESC, r.reading_id DESC) AS nth
    FROM checked c
    JOIN readings r ON r.inspection_id = c.inspection_id AND r.point_id = c.point_id
    WHERE NOT r.control AND r.call <> 'unsure'
), series AS (
    SELECT inspection_id, point_id, max(CASE WHEN lower_gain AND nth = 1 THEN call END) AS lower_call,
           count(*) FILTER (WHERE call = 'active') AS active_readings
    FROM beside
    GROUP BY inspection_id, point_id
), controls AS (
    SELECT inspection_id, count(*) FILTER (WHERE call = 'active') AS moved
    FROM readings
    WHERE control
    GROUP BY inspection_id
), at_once AS (
    SELECT inspection_id, count(*) AS points, count(*) FILTER (WHERE call = 'active') AS active
    FROM point_visits
    GROUP BY inspection_id
), levels AS (
    SELECT reading_id, percent_rank() OVER (PARTITION BY material ORDER BY level_pct) AS level_rank
    FROM readings
    WHERE NOT control AND call = 'active' AND level_pct IS NOT NULL
), far AS (
    SELECT r.inspection_id, r.point_id, r.gain, r.level_pct, max(l.level_rank) AS level_rank
    FROM levels l
    JOIN readings r ON r.reading_id = l.reading_id
    GROUP BY r.inspection_id, r.point_id, r.gain, r.level_pct
)
SELECT p.inspection_id, p.point_id, p.site_id, p.local_date, p.month, p.call, p.called_elsewhere,
       p.false_alarm OR p.missed AS wrong,
       CASE WHEN p.result = 'other_movement' THEN p.cause ELSE p.result END AS found,
       p.material, p.density_class, p.thickness_band, p.gain, p.gain_share, p.season, p.region, p.hour_band, p.wind_band, v.wind_kmh, p.rain,
       p.temp_band, p.battery_band, p.hold_band, p.level_band, p.log_share_band, p.unit_id, p.unit_overdue, p.days_since_service, p.technician_id, p.purpose,
       CASE s.lower_call WHEN 'active' THEN 'shown' WHEN 'clear' THEN 'vanished' ELSE 'not_tried' END AS lower_gain,
       CASE WHEN s.active_readings > 1 THEN 'yes' ELSE 'no' END AS shown_again,
       CASE WHEN c.moved IS NULL THEN 'no_control' WHEN c.moved > 0 THEN 'yes' ELSE 'no' END AS control_moved,
       CASE WHEN a.active >= 3 AND 2 * a.active >= a.points THEN 'yes' ELSE 'no' END AS many_at_once,
       CASE WHEN f.level_rank >= 0.95 THEN 'yes' ELSE 'no' END AS level_far_above
FROM point_visits p
JOIN visits v ON v.inspection_id = p.inspection_id
JOIN series s ON s.inspection_id = p.inspection_id AND s.point_id = p.point_id
JOIN at_once a ON a.inspection_id = p.inspection_id
LEFT JOIN controls c ON c.inspection_id = p.inspection_id
LEFT JOIN far f ON f.inspection_id = p.inspection_id AND f.point_id = p.point_id AND f.gain = p.gain AND f.level_pct = p.level_pct
WHERE p.verified_by = 'decisive' AND p.call IN ('active', 'clear')
ORDER BY p.site_id, p.inspection_id, p.point_id
