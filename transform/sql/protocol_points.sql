-- table: protocol_points
-- grain: one row per breach; the chances kept of one check in one inspection are counted together in one row
-- about: Checks whose chance is a point of an inspection. What each check asks is defined in the table of
--        checks; its settings are columns of params.
-- column: check_id | the check
-- column: point_id | of a breach; empty for chances kept
-- column: seen | what a breach shows, in words
-- column: n | how many chances the row stands for
WITH steps AS (
    SELECT r.technician_id, r.site_id, r.month, r.local_date, r.inspection_id, r.point_id, r.reading_id, r.taken_at, r.gain, r.gain_start, r.gain_low,
           r.gain_high, r.gain_max, r.level_pct, r.call, row_number() OVER (PARTITION BY r.inspection_id, r.point_id ORDER BY r.taken_at, r.reading_id) AS nth
    FROM readings r
    WHERE NOT r.control
), shown AS (
    SELECT s.inspection_id, s.point_id, s.reading_id, s.nth, s.gain, s.gain_start, s.gain_low, s.gain_high, s.gain_max, s.call,
           min(CASE WHEN s.call = 'active' THEN s.nth END) OVER (PARTITION BY s.inspection_id, s.point_id) AS first_active
    FROM steps s
), points AS (
    SELECT s.inspection_id, s.point_id, min(s.gain) FILTER (WHERE s.nth = 1) AS first_gain, min(s.gain_start) FILTER (WHERE s.nth = 1) AS gain_start,
           min(s.reading_id) FILTER (WHERE s.nth = 1) AS first_reading, min(s.gain_low) AS gain_low, max(s.gain_high) AS gain_high,
           min(s.gain_max) AS gain_max, count(*) FILTER (WHERE s.call = 'active') AS actives,
           min(s.reading_id) FILTER (WHERE s.nth = s.first_active) AS active_reading,
           min(s.gain) FILTER (WHERE s.nth = s.first_active) AS active_gain,
           min(s.gain) FILTER (WHERE s.call = 'active') AS lowest_active,
           min(s.gain) FILTER (WHERE s.nth > s.first_active) AS lowest_after
    FROM shown s
    GROUP BY s.inspection_id, s.point_id
), visited AS (
    SELECT v.technician_id, v.site_id, v.month, v.local_date, v.call, v.density_class, v.material, v.readings, v.max_gain, p.*
    FROM point_visits v
    JOIN points p ON p.inspection_id = v.inspection_id AND p.point_id = v.point_id
), frequencies AS (
    -- How often each level occurs among the calls of its kind by one technician: at a coarse resolution, often.
    SELECT s.technician_id, s.call, s.level_pct, count(*) AS n, sum(count(*)) OVER (PARTITION BY s.technician_id, s.call) AS all_n
    FROM steps s
    WHERE s.level_pct IS NOT NULL
    GROUP BY s.technician_id, s.call, s.level_pct
), sequences AS (
    -- bits: how improbable the sequence is, in thousandths of a bit, so that sums stay whole numbers.
    SELECT s.technician_id, s.site_id, s.inspection_id, s.point_id, s.month, s.local_date, count(*) AS readings, min(s.taken_at) AS began,
           array_agg(s.level_pct ORDER BY s.nth) AS levels, sum(CAST(round(1000 * log2(f.all_n * 1.0 / f.n)) AS BIGINT)) AS bits
    FROM steps s
    LEFT JOIN frequencies f ON f.technician_id = s.technician_id AND f.call = s.call AND f.level_pct = s.level_pct
    GROUP BY s.technician_id, s.site_id, s.inspection_id, s.point_id, s.month, s.local_date
    HAVING count(*) >= 2 AND count(*) = count(s.level_pct)
), repeats AS (
    -- Earlier sequences as long: of the visit, of the person, of the point; and the last of them that is the same.
    SELECT q.*, row_number() OVER (PARTITION BY q.inspection_id, q.readings ORDER BY q.began, q.point_id) - 1 AS of_visit,
           row_number() OVER (PARTITION BY q.technician_id, q.readings ORDER BY q.began, q.inspection_id, q.point_id) - 1 AS of_person,
           row_number() OVER (PARTITION BY q.site_id, q.point_id, q.readings ORDER BY q.began, q.inspection_id) - 1 AS of_point,
           lag(q.point_id) OVER (PARTITION BY q.inspection_id, q.levels ORDER BY q.began, q.point_id) AS same_in_visit,
           lag(q.inspection_id) OVER (PARTITION BY q.technician_id, q.levels ORDER BY q.began, q.inspection_id, q.point_id) AS same_by_person,
           lag(q.inspection_id) OVER (PARTITION BY q.site_id, q.point_id, q.levels ORDER BY q.began, q.inspection_id) AS same_at_point
    FROM sequences q
), weighed AS (
    SELECT r.*, r.of_visit > 0 AND r.bits >= 1000 * log2(greatest(r.of_visit, 1) / p.copy_chance) AS visit_tells,
           r.of_person > 0 AND r.bits >= 1000 * log2(greatest(r.of_person, 1) / p.copy_chance) AS person_tells,
           r.of_point > 0 AND r.bits >= 1000 * log2(greatest(r.of_point, 1) / p.copy_chance) AS point_tells
    FROM repeats r
    CROSS JOIN params p
), events AS (
    SELECT 'start_step' AS check_id, v.technician_id, v.site_id, v.month, v.local_date, v.inspection_id, v.point_id, v.first_reading AS reading_id,
           v.first_gain <> v.gain_start AND coalesce(v.first_gain NOT BETWEEN v.gain_low AND v.gain_high, true) AS breach,
           concat('began at gain ', v.first_gain, '; the unit starts at ', v.gain_start,
                  CASE WHEN v.gain_low IS NULL OR v.gain_high IS NULL THEN '' ELSE concat(', guidance ', v.gain_low, ' to ', v.gain_high) END) AS seen
    FROM visited v
    UNION ALL
    SELECT 'unrepeated_active', v.technician_id, v.site_id, v.month, v.local_date, v.inspection_id, v.point_id, v.active_reading,
           v.actives < 2, concat('1 active reading of ', v.readings)
    FROM visited v
    WHERE v.call = 'active'
    UNION ALL
    SELECT 'high_gain_only', v.technician_id, v.site_id, v.month, v.local_date, v.inspection_id, v.point_id, v.active_reading,
           v.lowest_active > v.gain_high AND coalesce(v.lowest_after >= v.active_gain, true),
           concat('active at gain ', v.lowest_active, ' and above only; guidance for ', v.material, ' ends at ', v.gain_high)
    FROM visited v
    WHERE v.call = 'active' AND v.density_class = 'light' AND v.gain_high IS NOT NULL
    UNION ALL
    SELECT 'left_unsure', v.technician_id, v.site_id, v.month, v.local_date, v.inspection_id, v.point_id, NULL,
           v.call = 'unsure', concat('unsure at every reading, ', v.readings, ' in all')
    FROM visited v
    UNION ALL
    SELECT 'not_stepped_up', v.technician_id, v.site_id, v.month, v.local_date, v.inspection_id, v.point_id, NULL,
           CASE WHEN v.gain_low IS NULL THEN v.max_gain <= v.gain_start ELSE v.max_gain < least(v.gain_low, v.gain_max) END,
           concat('called clear at gain ', v.max_gain, CASE WHEN v.gain_low IS NULL THEN ', the starting step' ELSE concat('; guidance for ', v.material, ' begins at ', v.gain_low) END)
    FROM visited v
    WHERE v.call = 'clear' AND v.density_class = 'dense'
    UNION ALL
    SELECT 'copied_levels', w.technician_id, w.site_id, w.month, w.local_date, w.inspection_id, w.point_id, NULL,
           w.visit_tells AND w.same_in_visit IS NOT NULL OR w.person_tells AND w.same_by_person IS NOT NULL OR w.point_tells AND w.same_at_point IS NOT NULL,
           concat('levels ', array_to_string(w.levels, ', '), ' as ',
                  CASE WHEN w.visit_tells AND w.same_in_visit IS NOT NULL THEN concat('at point ', w.same_in_visit, ' of the same visit')
                       WHEN w.person_tells AND w.same_by_person IS NOT NULL THEN concat('in inspection ', w.same_by_person)
                       ELSE concat('at the same point in inspection ', w.same_at_point) END)
    FROM weighed w
    WHERE w.visit_tells OR w.person_tells OR w.point_tells
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
