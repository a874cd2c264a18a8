-- table: protocol_points
-- grain: one row per breach; the chances kept of one check in one inspection are counted together in one row
-- about: Checks whose chance is a point of an inspection, but for copied levels. What each check asks is defined in the table of
--        checks; its settings are columns of params.
-- column: check_id | the check
-- column: point_id | of a breach; empty for chances kept
-- column: seen | what a breach shows, in words
-- column: n | how many chances the row stands for
WITH judged AS (
    -- Whether each check was breached, or null where there was no chance.
    SELECT v.*, v.first_gain <> v.gain_start AND coalesce(v.first_gain NOT BETWEEN v.gain_low AND v.gain_high, true) AS start,
           CASE WHEN v.call = 'active' THEN v.active_readings < 2 END AS unrepeated,
           CASE WHEN v.call = 'active' AND v.density_class = 'light' AND v.gain_high IS NOT NULL THEN v.lowest_active > v.gain_high AND coalesce(v.lowest_after >= v.shown_at, true) END AS high,
           v.call = 'unsure' AS unsure,
           CASE WHEN v.call <> 'clear' OR v.density_class <> 'dense' THEN NULL WHEN v.gain_low IS NULL THEN v.max_gain <= v.gain_start ELSE v.max_gain < least(v.gain_low, v.gain_top) END AS low
    FROM point_decisions v
), kept AS (
    SELECT inspection_id, count(*) FILTER (WHERE NOT start) AS starts, count(*) FILTER (WHERE NOT unrepeated) AS repeats, count(*) FILTER (WHERE NOT high) AS highs,
           count(*) FILTER (WHERE NOT unsure) AS decided, count(*) FILTER (WHERE NOT low) AS stepped
    FROM judged
    GROUP BY inspection_id
), events AS (
    SELECT 'start_step' AS check_id, inspection_id, CAST(NULL AS VARCHAR) AS point_id, CAST(NULL AS VARCHAR) AS reading_id, false AS breach, CAST(NULL AS VARCHAR) AS seen, starts AS n FROM kept WHERE starts > 0
    UNION ALL
    SELECT 'unrepeated_active', inspection_id, NULL, NULL, false, NULL, repeats FROM kept WHERE repeats > 0
    UNION ALL
    SELECT 'high_gain_only', inspection_id, NULL, NULL, false, NULL, highs FROM kept WHERE highs > 0
    UNION ALL
    SELECT 'left_unsure', inspection_id, NULL, NULL, false, NULL, decided FROM kept WHERE decided > 0
    UNION ALL
    SELECT 'not_stepped_up', inspection_id, NULL, NULL, false, NULL, stepped FROM kept WHERE stepped > 0
    UNION ALL
    SELECT 'start_step', inspection_id, point_id, first_reading, true,
           concat('began at gain ', first_gain, '; the unit starts at ', gain_start,
                  CASE WHEN gain_low IS NULL OR gain_high IS NULL THEN '' ELSE concat(', guidance ', gain_low, ' to ', gain_high) END), 1
    FROM judged
    WHERE start
    UNION ALL
    SELECT 'unrepeated_active', inspection_id, point_id, shown_reading, true, concat('1 active reading of ', readings), 1
    FROM judged
    WHERE unrepeated
    UNION ALL
    SELECT 'high_gain_only', inspection_id, point_id, shown_reading, true,
           concat('active at gain ', lowest_active, ' and above only; guidance for ', material, ' ends at ', gain_high), 1
    FROM judged
    WHERE high
    UNION ALL
    SELECT 'left_unsure', inspection_id, point_id, NULL, true, concat('unsure at every reading, ', readings, ' in all'), 1
    FROM judged
    WHERE unsure
    UNION ALL
    SELECT 'not_stepped_up', inspection_id, point_id, NULL, true,
           concat('called clear at gain ', max_gain, CASE WHEN gain_low IS NULL THEN ', the starting step' ELSE concat('; guidance for ', material, ' begins at ', gain_low) END), 1
    FROM judged
    WHERE low
)
SELECT e.check_id, v.technician_id, v.site_id, v.month, v.local_date, e.inspection_id, e.point_id, e.reading_id, e.breach, e.seen, e.n
FROM events e
JOIN visits v ON v.inspection_id = e.inspection_id
ORDER BY v.month, e.inspection_id, e.check_id, e.breach, e.point_id, e.reading_id
