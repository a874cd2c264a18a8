-- What becomes of candidate readings that name something unknown, lie outside their inspection, or use a
-- gain step their unit does not have. In: candidate, held_inspections, held_units, held_materials. Out: fate_now.
INSERT INTO fate_now
WITH visits AS ( -- limits are worked out once a visit, not once a reading
    SELECT inspection_id, started_at, ended_at, started_at - INTERVAL 15 MINUTES AS earliest, ended_at + INTERVAL 15 MINUTES AS latest
    FROM (SELECT inspection_id, started_at, coalesce(ended_at, started_at + INTERVAL 24 HOURS) AS ended_at FROM held_inspections)
), judged AS (
    SELECT c._file, c._line, c.inspection_id, c.unit_id, c.material, c.taken_at, c.gain,
           i.started_at, i.ended_at, u.gain_min, u.gain_max,
           CASE WHEN i.inspection_id IS NULL THEN 'unknown_inspection'
                WHEN u.unit_id IS NULL THEN 'unknown_unit'
                WHEN m.material IS NULL THEN 'unknown_material'
                WHEN c.taken_at < i.earliest OR c.taken_at > i.latest THEN 'taken_within_inspection'
                WHEN c.gain NOT BETWEEN u.gain_min AND u.gain_max THEN 'gain_within_unit'
           END AS rule
    FROM candidate c
    LEFT JOIN visits i ON i.inspection_id = c.inspection_id
    LEFT JOIN held_units u ON u.unit_id = c.unit_id
    LEFT JOIN held_materials m ON m.material = c.material
)
SELECT 'readings', _file, _line, CASE WHEN rule LIKE 'unknown%' THEN 'waiting' ELSE 'rejected' END, false,
       CASE rule WHEN 'unknown_inspection' THEN 'inspection_id' WHEN 'unknown_unit' THEN 'unit_id'
                 WHEN 'unknown_material' THEN 'material' WHEN 'taken_within_inspection' THEN 'taken_at' ELSE 'gain' END,
       rule,
       CASE rule WHEN 'unknown_inspection' THEN inspection_id WHEN 'unknown_unit' THEN unit_id
                 WHEN 'unknown_material' THEN material
                 WHEN 'taken_within_inspection' THEN strftime(taken_at, '%Y-%m-%dT%H:%M:%SZ') ELSE CAST(gain AS VARCHAR) END,
       CASE rule WHEN 'taken_within_inspection'
                 THEN 'outside inspection ' || inspection_id || ' (' || strftime(started_at, '%Y-%m-%dT%H:%M:%SZ') || ' to '
                      || strftime(ended_at, '%Y-%m-%dT%H:%M:%SZ') || ', 15 min of slack); correct the time or the inspection'
                 WHEN 'gain_within_unit'
                 THEN 'unit ' || unit_id || ' has gain steps ' || CAST(gain_min AS VARCHAR) || ' to ' || CAST(gain_max AS VARCHAR) || '; correct the gain or the unit'
                 ELSE 'not known yet; taken in once it arrives' END
FROM judged
WHERE rule IS NOT NULL;
