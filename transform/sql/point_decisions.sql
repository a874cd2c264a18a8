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
    SELECT r.inspection_id, r.point_id, r.reading_id, r.call, r.gain, r.gain_start, r.gain_max,
           r.density_class = 'dense' AND r.call = 'clear' AND r.gain < r.gain_max AS may_step,
           row_number() OVER (PARTITION BY r.inspection_id, r.point_id ORDER BY r.taken_at, r.reading_id) AS nth
    FROM readings r
    WHERE NOT r.control
), marked AS (
    SELECT o.*, min(CASE WHEN o.call = 'active' THEN o.nth END) OVER p AS active_at, min(CASE WHEN o.may_step THEN o.nth END) OVER p AS clear_at,
           coalesce(max(CASE WHEN o.call <> 'unsure' THEN o.nth END) OVER p, count(*) OVER p) AS decided_at
    FROM ordered o
    WINDOW p AS (PARTITION BY o.inspection_id, o.point_id)
), stepped AS (
    SELECT m.*, min(CASE WHEN m.nth = m.active_at THEN m.gain END) OVER p AS shown_at, min(CASE WHEN m.nth = m.clear_at THEN m.gain END) OVER p AS cleared_at,
           min(CASE WHEN m.nth = m.decided_at THEN m.gain END) OVER p AS decided_gain
    FROM marked m
    WINDOW p AS (PARTITION BY m.inspection_id, m.point_id)
), points AS (
    SELECT s.inspection_id, s.point_id, count(*) AS readings, count(*) FILTER (WHERE s.call = 'active') AS active_readings, max(s.gain) AS max_gain,
           min(s.gain) FILTER (WHERE s.nth = 1) AS first_gain, bool_or(s.nth = 1 AND s.gain <> s.gain_start) AS started_elsewhere, min(s.shown_at) AS shown_at,
           max(s.gain) FILTER (WHERE s.call <> 'active' AND (s.active_at IS NULL OR s.nth < s.active_at AND s.gain < s.shown_at)) AS unshown_at,
           bool_or(coalesce(s.nth > s.clear_at AND s.gain > s.cleared_at, false)) FILTER (WHERE s.clear_at < coalesce(s.active_at, s.clear_at + 1)) AS stepped_up,
           min(s.gain) FILTER (WHERE s.call = 'active') AS lowest_active, min(s.gain) FILTER (WHERE s.nth > s.active_at) AS lowest_after,
           max(s.nth) FILTER (WHERE s.call = 'active' AND s.gain < s.decided_gain) AS lower_active_at,
           max(s.nth) FILTER (WHERE s.call = 'clear' AND s.gain < s.decided_gain) AS lower_clear_at,
           min(s.gain_start) FILTER (WHERE s.nth = 1) AS gain_start, min(s.gain_max) AS gain_top,
           min(s.reading_id) FILTER (WHERE s.nth = 1) AS first_reading, min(s.reading_id) FILTER (WHERE s.nth = s.active_at) AS shown_reading,
           min(s.reading_id) FILTER (WHERE s.nth = s.decided_at) AS reading_id
    FROM stepped s
    GROUP BY s.inspection_id, s.point_id
)
SELECT o.inspection_id, o.site_id, o.site_key, o.point_id, o.reading_id, o.region, o.technician_id, o.purpose, o.unit_id, o.model, o.month, o.season, o.season_year,
       o.local_date, o.material, o.density_class, o.thickness_mm, o.thickness_band, o.gain, o.gain_share, o.hold_band, o.level_pct, o.level_band,
       o.battery_band, o.days_since_service, o.unit_overdue, o.temp_band, o.wind_band, o.rain, o.hour_band, o.call,
       p.readings, p.active_readings, p.max_gain, p.first_gain, p.started_elsewhere, p.shown_at, p.unshown_at, p.stepped_up,
       CASE WHEN coalesce(p.lower_active_at, 0) > coalesce(p.lower_clear_at, 0) THEN 'active' WHEN p.lower_clear_at IS NOT NULL THEN 'clear' END AS lower_call,
       p.lowest_active, p.lowest_after, p.first_reading, p.shown_reading, p.gain_start, p.gain_top, o.gain_low, o.gain_high
FROM points p
JOIN readings o ON o.reading_id = p.reading_id
ORDER BY o.inspection_id, o.point_id
