-- table: copied_levels
-- grain: one row per breach; the chances kept in one inspection are counted together in one row
-- about: Whether the levels of a point are those of an earlier one, where that is too improbable to be chance. The earlier
--        ones are those of the visit, of the same person and of the same point; later months do not change it.
-- column: check_id | copied_levels
-- column: point_id | of a breach; empty for chances kept
-- column: seen | what a breach shows, in words
-- column: n | how many chances the row stands for
WITH chances AS (
    -- How often each level occurs among the calls of its kind by one technician in the year that ends with the month: at a coarse resolution, often.
    SELECT y.technician_id, y.call, y.level_pct, sum(y.n) AS n, sum(sum(y.n)) OVER (PARTITION BY y.technician_id, y.call) AS all_n
    FROM year_technician_levels y
    WHERE NOT y.control
    GROUP BY y.technician_id, y.call, y.level_pct
), shown AS (
    SELECT s.inspection_id, s.point_id, s.technician_id, l.level_pct, s.calls[l.nth] AS call
    FROM level_sequences s
    CROSS JOIN UNNEST(s.levels) WITH ORDINALITY AS l (level_pct, nth)
), weights AS (
    -- bits: how improbable the sequence is, in thousandths of a bit, so that sums stay whole numbers.
    SELECT s.inspection_id, s.point_id, sum(CAST(round(1000 * log2(c.all_n * 1.0 / c.n)) AS BIGINT)) AS bits
    FROM shown s
    JOIN chances c ON c.technician_id = s.technician_id AND c.call = s.call AND c.level_pct = s.level_pct
    GROUP BY s.inspection_id, s.point_id
), by_person AS (
    SELECT b.technician_id, b.readings, count(*) AS n
    FROM before_level_sequences b
    GROUP BY b.technician_id, b.readings
), by_point AS (
    SELECT b.site_id, b.point_id, b.readings, count(*) AS n
    FROM before_level_sequences b
    WHERE EXISTS (SELECT 1 FROM level_sequences s WHERE s.site_id = b.site_id AND s.point_id = b.point_id)
    GROUP BY b.site_id, b.point_id, b.readings
), like_person AS (
    SELECT b.technician_id, b.levels, arg_max(b.inspection_id, (b.began, b.inspection_id, b.point_id)) AS inspection_id
    FROM before_level_sequences b
    WHERE EXISTS (SELECT 1 FROM level_sequences s WHERE s.technician_id = b.technician_id AND s.levels = b.levels)
    GROUP BY b.technician_id, b.levels
), like_point AS (
    SELECT b.site_id, b.point_id, b.levels, arg_max(b.inspection_id, (b.began, b.inspection_id)) AS inspection_id
    FROM before_level_sequences b
    WHERE EXISTS (SELECT 1 FROM level_sequences s WHERE s.site_id = b.site_id AND s.point_id = b.point_id AND s.levels = b.levels)
    GROUP BY b.site_id, b.point_id, b.levels
), within AS (
    -- Earlier sequences as long, and the last of them that is the same: of the visit, and of the month by the person and of the point.
    SELECT q.inspection_id, q.point_id, q.technician_id, q.site_id, q.month, q.local_date, q.readings, q.levels,
           row_number() OVER (PARTITION BY q.inspection_id, q.readings ORDER BY q.began, q.point_id) - 1 AS of_visit,
           row_number() OVER (PARTITION BY q.technician_id, q.readings ORDER BY q.began, q.inspection_id, q.point_id) - 1 AS of_person,
           row_number() OVER (PARTITION BY q.site_id, q.point_id, q.readings ORDER BY q.began, q.inspection_id) - 1 AS of_point,
           lag(q.point_id) OVER (PARTITION BY q.inspection_id, q.levels ORDER BY q.began, q.point_id) AS same_in_visit,
           lag(q.inspection_id) OVER (PARTITION BY q.technician_id, q.levels ORDER BY q.began, q.inspection_id, q.point_id) AS same_by_person,
           lag(q.inspection_id) OVER (PARTITION BY q.site_id, q.point_id, q.levels ORDER BY q.began, q.inspection_id) AS same_at_point
    FROM level_sequences q
), repeats AS (
    SELECT w.inspection_id, w.point_id, w.technician_id, w.site_id, w.month, w.local_date, w.levels, g.bits, w.of_visit, w.same_in_visit,
           w.of_person + coalesce(p.n, 0) AS of_person, coalesce(w.same_by_person, lp.inspection_id) AS same_by_person,
           w.of_point + coalesce(o.n, 0) AS of_point, coalesce(w.same_at_point, lo.inspection_id) AS same_at_point
    FROM within w
    JOIN weights g ON g.inspection_id = w.inspection_id AND g.point_id = w.point_id
    LEFT JOIN by_person p ON p.technician_id = w.technician_id AND p.readings = w.readings
    LEFT JOIN by_point o ON o.site_id = w.site_id AND o.point_id = w.point_id AND o.readings = w.readings
    LEFT JOIN like_person lp ON lp.technician_id = w.technician_id AND lp.levels = w.levels
    LEFT JOIN like_point lo ON lo.site_id = w.site_id AND lo.point_id = w.point_id AND lo.levels = w.levels
), weighed AS (
    SELECT r.*, r.of_visit > 0 AND r.bits >= 1000 * log2(greatest(r.of_visit, 1) / p.copy_chance) AS visit_tells,
           r.of_person > 0 AND r.bits >= 1000 * log2(greatest(r.of_person, 1) / p.copy_chance) AS person_tells,
           r.of_point > 0 AND r.bits >= 1000 * log2(greatest(r.of_point, 1) / p.copy_chance) AS point_tells
    FROM repeats r
    CROSS JOIN params p
), events AS (
    SELECT 'copied_levels' AS check_id, w.technician_id, w.site_id, w.month, w.local_date, w.inspection_id, w.point_id, CAST(NULL AS VARCHAR) AS reading_id,
           w.visit_tells AND w.same_in_visit IS NOT NULL OR w.person_tells AND w.same_by_person IS NOT NULL OR w.point_tells AND w.same_at_point IS NOT NULL AS breach,
           concat('levels ', array_to_string(w.levels, ', '), ' as ',
                  CASE WHEN w.visit_tells AND w.same_in_visit IS NOT NULL THEN concat('at point ', w.same_in_visit, ' of the same visit')
                       WHEN w.person_tells AND w.same_by_person IS NOT NULL THEN concat('in inspection ', w.same_by_person)
                       ELSE concat('at the same point in inspection ', w.same_at_point) END) AS seen
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
