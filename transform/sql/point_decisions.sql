-- table: point_decisions
-- grain: one row per point in an inspection, with at least one reading that is not a control reading
-- about: Which reading decides the call of a point-visit, with its circumstances, and how the point's readings were
--        stepped. All that a point's readings tell before anything is known of what was found.
-- column: inspection_id | key, with point_id
-- column: reading_id | the last reading that is not unsure, or the last one where every reading was unsure
-- column: readings | readings of the point in this inspection, control readings left out
-- column: active_readings | those of them that said active
-- column: max_gain | highest gain step used
-- column: first_gain | gain step of the first reading
-- column: started_elsewhere | the first reading was not at the unit's starting step
-- column: shown_at | gain step of the first active reading
-- column: unshown_at | highest gain step below shown_at, or of all where nothing was shown, that showed nothing before
-- column: lower_call | what the newest decided reading at a lower gain step than the deciding one said; null where there was none
-- column: lowest_active | lowest gain step of an active reading; lowest_after that of any reading after the first active one
-- column: first_reading | the first reading; shown_reading the first active one
-- column: gain_start | starting step of the unit of the first reading; gain_top the highest step of its units
-- column: stepped_up | after a clear reading on dense material, below the unit's highest step and before any active one, a higher step followed; null where there was none
WITH ordered AS (
    SELECT r.inspection_id, r.point_id, r.reading_id, r.call, r.gain, r.nth, u.gain_start, u.gain_max,
           m.density_class = 'dense' AND r.call = 'clear' AND r.gain < u.gain_max AS may_step
    FROM these_readings r
    JOIN held_units u ON u.unit_id = r.unit_id
    JOIN held_materials m ON m.material = r.material
    WHERE NOT coalesce(r.control, false)
), points AS (
    SELECT o.inspection_id, o.point_id, count(*) AS readings, count(*) FILTER (WHERE o.call = 'active') AS active_readings, max(o.gain) AS max_gain, min(o.gain_max) AS gain_top,
           min(o.gain) FILTER (WHERE o.call = 'active') AS lowest_active, arg_min(o.gain, o.nth) AS first_gain, arg_min(o.gain_start, o.nth) AS gain_start,
           arg_min(o.reading_id, o.nth) AS first_reading, min(o.nth) FILTER (WHERE o.call = 'active') AS active_at, arg_min(o.gain, o.nth) FILTER (WHERE o.call = 'active') AS shown_at,
           arg_min(o.reading_id, o.nth) FILTER (WHERE o.call = 'active') AS shown_reading,
           min(o.nth) FILTER (WHERE o.may_step) AS clear_at, arg_min(o.gain, o.nth) FILTER (WHERE o.may_step) AS cleared_at,
           coalesce(arg_max(o.gain, o.nth) FILTER (WHERE o.call <> 'unsure'), arg_max(o.gain, o.nth)) AS decided_gain,
           coalesce(arg_max(o.reading_id, o.nth) FILTER (WHERE o.call <> 'unsure'), arg_max(o.reading_id, o.nth)) AS reading_id
    FROM ordered o
    GROUP BY o.inspection_id, o.point_id
), around AS (
    SELECT o.inspection_id, o.point_id,
           max(o.gain) FILTER (WHERE o.call <> 'active' AND (p.active_at IS NULL OR o.nth < p.active_at AND o.gain < p.shown_at)) AS unshown_at,
           bool_or(o.nth > p.clear_at AND o.gain > p.cleared_at) AS higher, min(o.gain) FILTER (WHERE o.nth > p.active_at) AS lowest_after,
           max(o.nth) FILTER (WHERE o.call = 'active' AND o.gain < p.decided_gain) AS lower_active_at,
           max(o.nth) FILTER (WHERE o.call = 'clear' AND o.gain < p.decided_gain) AS lower_clear_at
    FROM ordered o
    JOIN points p ON p.inspection_id = o.inspection_id AND p.point_id = o.point_id
    GROUP BY o.inspection_id, o.point_id
)
SELECT o.inspection_id, o.site_id, o.site_key, o.point_id, o.reading_id, o.region, o.technician_id, o.purpose, o.unit_id, o.model, o.month, o.season, o.season_year,
       o.local_date, o.material, o.density_class, o.thickness_mm, o.thickness_band, o.gain, o.gain_share, o.hold_band, o.level_pct, o.level_band,
       o.battery_band, o.days_since_service, o.unit_overdue, o.temp_band, o.wind_band, o.rain, o.hour_band, o.call,
       p.readings, p.active_readings, p.max_gain, p.first_gain, p.first_gain <> p.gain_start AS started_elsewhere, p.shown_at, a.unshown_at,
       CASE WHEN p.clear_at < coalesce(p.active_at, p.clear_at + 1) THEN coalesce(a.higher, false) END AS stepped_up,
       CASE WHEN coalesce(a.lower_active_at, 0) > coalesce(a.lower_clear_at, 0) THEN 'active' WHEN a.lower_clear_at IS NOT NULL THEN 'clear' END AS lower_call,
       p.lowest_active, a.lowest_after, p.first_reading, p.shown_reading, p.gain_start, p.gain_top, o.gain_low, o.gain_high
FROM points p
JOIN around a ON a.inspection_id = p.inspection_id AND a.point_id = p.point_id
JOIN readings o ON o.reading_id = p.reading_id
ORDER BY o.inspection_id, o.point_id
