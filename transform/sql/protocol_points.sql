-- table: protocol_points
-- grain: one row per breach; the chances kept of one check in one inspection are counted together in one row
-- about: Checks whose chance is a point of an inspection, but for copied levels. What each check asks is defined in the table of
--        checks; its settings are columns of params.
-- column: check_id | the check
-- column: point_id | of a breach; empty for chances kept
-- column: seen | what a breach shows, in words
-- column: n | how many chances the row stands for
WITH events AS (
    SELECT 'start_step' AS check_id, v.technician_id, v.site_id, v.month, v.local_date, v.inspection_id, v.point_id, v.first_reading AS reading_id,
           v.first_gain <> v.gain_start AND coalesce(v.first_gain NOT BETWEEN v.gain_low AND v.gain_high, true) AS breach,
           concat('began at gain ', v.first_gain, '; the unit starts at ', v.gain_start,
                  CASE WHEN v.gain_low IS NULL OR v.gain_high IS NULL THEN '' ELSE concat(', guidance ', v.gain_low, ' to ', v.gain_high) END) AS seen
    FROM point_decisions v
    UNION ALL
    SELECT 'unrepeated_active', v.technician_id, v.site_id, v.month, v.local_date, v.inspection_id, v.point_id, v.shown_reading,
           v.active_readings < 2, concat('1 active reading of ', v.readings)
    FROM point_decisions v
    WHERE v.call = 'active'
    UNION ALL
    SELECT 'high_gain_only', v.technician_id, v.site_id, v.month, v.local_date, v.inspection_id, v.point_id, v.shown_reading,
           v.lowest_active > v.gain_high AND coalesce(v.lowest_after >= v.shown_at, true),
           concat('active at gain ', v.lowest_active, ' and above only; guidance for ', v.material, ' ends at ', v.gain_high)
    FROM point_decisions v
    WHERE v.call = 'active' AND v.density_class = 'light' AND v.gain_high IS NOT NULL
    UNION ALL
    SELECT 'left_unsure', v.technician_id, v.site_id, v.month, v.local_date, v.inspection_id, v.point_id, NULL,
           v.call = 'unsure', concat('unsure at every reading, ', v.readings, ' in all')
    FROM point_decisions v
    UNION ALL
    SELECT 'not_stepped_up', v.technician_id, v.site_id, v.month, v.local_date, v.inspection_id, v.point_id, NULL,
           CASE WHEN v.gain_low IS NULL THEN v.max_gain <= v.gain_start ELSE v.max_gain < least(v.gain_low, v.gain_top) END,
           concat('called clear at gain ', v.max_gain, CASE WHEN v.gain_low IS NULL THEN ', the starting step' ELSE concat('; guidance for ', v.material, ' begins at ', v.gain_low) END)
    FROM point_decisions v
    WHERE v.call = 'clear' AND v.density_class = 'dense'
), parts AS (
    SELECT e.check_id, e.technician_id, e.site_id, e.month, e.local_date, e.inspection_id, e.breach,
           CASE WHEN e.breach THEN e.point_id END AS point_id, CASE WHEN e.breach THEN e.reading_id END AS reading_id,
           CASE WHEN e.breach THEN e.seen END AS seen
    FROM events e
)
SELECT t.check_id, t.technician_id, t.site_id, t.month, t.local_date, t.inspection_id, t.point_id, t.reading_id, t.breach, t.seen, count(*) AS n
FROM parts t
GROUP BY t.check_id, t.technician_id, t.site_id, t.month, t.local_date, t.inspection_id, t.point_id, t.reading_id, t.breach, t.seen
ORDER BY t.month, t.inspection_id, t.check_id, t.breach, t.point_id, t.reading_id
