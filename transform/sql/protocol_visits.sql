-- table: protocol_visits
-- grain: one row per chance: an inspection, an inspection and unit, or a return-visit finding
-- about: Checks whose chance is an inspection. What each check asks is defined in the table of checks; its
--        settings are columns of params.
-- column: check_id | the check
-- column: point_id | only where the breach is at one point
-- column: seen | what a breach shows, in words
-- column: n | 1
WITH counted AS (
    SELECT c.inspection_id, coalesce(sum(c.readings) FILTER (WHERE NOT c.control), 0) AS readings, coalesce(sum(c.readings) FILTER (WHERE c.control), 0) AS controls,
           coalesce(sum(c.active) FILTER (WHERE NOT c.control), 0) AS actives, sum(c.hold_milli) / 1000.0 AS held_s
    FROM reading_cells c
    GROUP BY c.inspection_id
), called AS (
    SELECT v.inspection_id, count(*) AS points, count(*) FILTER (WHERE v.call = 'active') AS actives, count(*) FILTER (WHERE v.call = 'unsure') AS unsure
    FROM point_decisions v
    GROUP BY v.inspection_id
), areas AS (
    SELECT v.inspection_id, trim(t.area) AS area
    FROM visits v
    CROSS JOIN UNNEST(split(replace(v.areas_not_inspected, ';', chr(10)), chr(10))) AS t (area)
    WHERE trim(t.area) <> ''
), bare AS (
    SELECT a.inspection_id, min(a.area) FILTER (WHERE NOT (a.area LIKE '%:_%' OR a.area LIKE '% -_%' OR a.area LIKE '% –_%' OR a.area LIKE '% —_%' OR a.area LIKE '%(_%'
               OR lower(a.area) LIKE '%because%' OR lower(a.area) LIKE '%due to%' OR lower(a.area) LIKE '%no access%' OR lower(a.area) LIKE '%locked%')) AS area
    FROM areas a
    GROUP BY a.inspection_id
), whole AS (
    SELECT v.inspection_id, v.technician_id, v.site_id, v.month, v.local_date, v.outcome, v.accredited, t.accredited_until,
           (epoch_ms(v.ended_at) - epoch_ms(v.started_at)) / 1000.0 AS took_s, coalesce(c.readings, 0) AS readings, coalesce(c.controls, 0) AS controls,
           coalesce(c.actives, 0) AS actives, coalesce(k.points, 0) AS points, coalesce(c.held_s, 0) AS held_s, coalesce(k.actives, 0) AS called_active,
           coalesce(k.unsure, 0) AS unsure, b.inspection_id IS NOT NULL AS named, b.area
    FROM visits v
    JOIN held_technicians t ON t.technician_id = v.technician_id
    LEFT JOIN counted c ON c.inspection_id = v.inspection_id
    LEFT JOIN called k ON k.inspection_id = v.inspection_id
    LEFT JOIN bare b ON b.inspection_id = v.inspection_id
), carried AS (
    SELECT v.inspection_id, v.technician_id, v.site_id, v.month, v.local_date, r.unit_id, u.service_due_on, r.lowest_pct AS lowest, r.charges AS noted, r.low
    FROM unit_visits r
    JOIN visits v ON v.inspection_id = r.inspection_id
    JOIN held_units u ON u.unit_id = r.unit_id
), events AS (
    SELECT 'outcome_unbacked' AS check_id, w.technician_id, w.site_id, w.month, w.local_date, w.inspection_id, CAST(NULL AS VARCHAR) AS point_id,
           w.actives = 0 AS breach, concat('outcome active; ', w.readings, CASE WHEN w.readings = 1 THEN ' reading' ELSE ' readings' END, ', none active') AS seen
    FROM whole w
    WHERE w.outcome = 'active'
    UNION ALL
    SELECT 'no_readings', w.technician_id, w.site_id, w.month, w.local_date, w.inspection_id, NULL,
           w.readings = 0, 'outcome clear, no reading'
    FROM whole w
    WHERE w.outcome = 'clear'
    UNION ALL
    SELECT 'short_visit', w.technician_id, w.site_id, w.month, w.local_date, w.inspection_id, NULL,
           w.took_s < greatest(w.held_s, w.points * p.point_s),
           concat(round(w.took_s / 60.0, 1), ' min for ', w.points, CASE WHEN w.points = 1 THEN ' point' ELSE ' points' END, '; the holds alone take ', round(w.held_s / 60.0, 1), ' min')
    FROM whole w
    CROSS JOIN params p
    WHERE w.took_s IS NOT NULL AND w.points > 0
    UNION ALL
    SELECT 'no_control', w.technician_id, w.site_id, w.month, w.local_date, w.inspection_id, NULL,
           w.controls = 0, concat(w.called_active, CASE WHEN w.called_active = 1 THEN ' point' ELSE ' points' END, ' called active, no control reading')
    FROM whole w
    WHERE w.called_active > 0
    UNION ALL
    SELECT 'areas_unexplained', w.technician_id, w.site_id, w.month, w.local_date, w.inspection_id, NULL,
           w.area IS NOT NULL OR NOT w.named AND w.unsure = 0,
           CASE WHEN w.area IS NOT NULL THEN concat('"', substr(w.area, 1, 80), '"') ELSE 'inconclusive, with neither an area named nor a point left unsure' END
    FROM whole w
    WHERE w.named OR w.outcome = 'inconclusive'
    UNION ALL
    SELECT 'lapsed_accreditation', w.technician_id, w.site_id, w.month, w.local_date, w.inspection_id, NULL,
           w.accredited = 'no', concat('accredited until ', w.accredited_until)
    FROM whole w
    WHERE w.accredited <> 'unknown'
    UNION ALL
    SELECT 'overdue_unit', c.technician_id, c.site_id, c.month, c.local_date, c.inspection_id, NULL,
           c.service_due_on < c.local_date, concat('unit ', c.unit_id, ', service due ', c.service_due_on)
    FROM carried c
    WHERE c.service_due_on IS NOT NULL
    UNION ALL
    SELECT 'low_battery', c.technician_id, c.site_id, c.month, c.local_date, c.inspection_id, NULL,
           c.low > 0, concat('unit ', c.unit_id, ' down to ', c.lowest, '%; ', c.low, ' of ', c.noted, ' readings below')
    FROM carried c
    WHERE c.noted > 0
    UNION ALL
    SELECT 'own_finding', r.technician_id, r.site_id, r.month, r.found_on, r.inspection_id, r.point_id,
           r.by_self, concat('called ', r.call, ' and found ', replace(r.result, '_', ' '), ' at a return visit on ', r.found_on, ' by the same person (finding ', r.finding_id, ')')
    FROM return_checks r
)
SELECT e.check_id, e.technician_id, e.site_id, e.month, e.local_date, e.inspection_id, e.point_id, CAST(NULL AS VARCHAR) AS reading_id,
       e.breach, CASE WHEN e.breach THEN e.seen END AS seen, CAST(1 AS BIGINT) AS n
FROM events e
ORDER BY e.month, e.inspection_id, e.check_id, e.breach, e.point_id, e.seen
