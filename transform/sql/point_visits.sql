-- table: point_visits
-- grain: one row per point in an inspection, with at least one reading that is not a control reading
-- about: The call is that of the deciding reading (point_decisions), and the circumstances are that reading's.
-- column: inspection_id | key, with point_id
-- column: site_key | see visits
-- column: call | active, clear or unsure
-- column: truth | active, not_active or unverified, see point_truth
-- column: verified_by | decisive, report or none
-- column: false_alarm | call active and truth not_active
-- column: missed | call clear and truth active
-- column: readings | readings of the point in this inspection, control readings left out
-- column: max_gain | highest gain step used; for this and the others of stepping see point_decisions
-- column: log_share_band | how much of its hold was above the noise band by the unit's log: nothing, some, much or unknown, see log_contradictions for the limits
-- column: called_elsewhere | see the table of that name
WITH shown AS (
    SELECT m.reading_id, CASE WHEN h.above_share <= p.quiet_share THEN 'nothing' WHEN h.above_share >= p.strong_share THEN 'much' ELSE 'some' END AS log_share_band
    FROM log_matches m
    JOIN log_holds h ON h.unit_id = m.unit_id AND h.unit_day = m.unit_day AND h.hold_no = m.hold_no
    CROSS JOIN log_params p
    WHERE m.status = 'matched'
)
SELECT o.inspection_id, o.site_id, o.site_key, o.point_id, o.region, o.technician_id, o.purpose, o.unit_id, o.model, o.month, o.season, o.season_year,
       o.local_date, o.material, o.density_class, o.thickness_mm, o.thickness_band, o.gain, o.gain_share, o.hold_band, o.level_pct, o.level_band,
       o.battery_band, o.days_since_service, o.unit_overdue, o.temp_band, o.wind_band, o.rain, o.hour_band, o.call,
       coalesce(t.truth, 'unverified') AS truth, coalesce(t.verified_by, 'none') AS verified_by,
       t.result, t.cause, t.method, t.days_to_finding,
       o.call = 'active' AND coalesce(t.truth, 'unverified') = 'not_active' AS false_alarm,
       o.call = 'clear' AND coalesce(t.truth, 'unverified') = 'active' AS missed,
       o.readings, o.active_readings, o.max_gain, o.first_gain, o.started_elsewhere, o.shown_at, o.unshown_at, o.stepped_up, o.lower_call,
       coalesce(s.log_share_band, 'unknown') AS log_share_band, e.point_id IS NOT NULL AS called_elsewhere
FROM point_decisions o
LEFT JOIN point_truth t ON t.inspection_id = o.inspection_id AND t.point_id = o.point_id
LEFT JOIN called_elsewhere e ON e.inspection_id = o.inspection_id AND e.point_id = o.point_id
LEFT JOIN shown s ON s.reading_id = o.reading_id
ORDER BY o.inspection_id, o.point_id
