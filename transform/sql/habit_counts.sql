-- table: habit_counts
-- grain: one row per technician, local date, unit and gain step with a reading that is not a control reading
-- about: How readings were made, and what was found at the points whose call they decided.
-- column: readings | readings
-- column: holds | those of them with a hold noted
-- column: hold_tenths | seconds held in all, in tenths
-- column: found | points called active or clear where activity was found by looking, and no other visit had called them active
-- column: missed | those of them called clear
WITH held AS (
    SELECT technician_id, month, local_date, unit_id, gain,
           CAST(sum(readings) AS BIGINT) AS readings, CAST(sum(holds) AS BIGINT) AS holds, CAST(sum(hold_tenths) AS BIGINT) AS hold_tenths
    FROM reading_cells
    WHERE NOT control
    GROUP BY technician_id, month, local_date, unit_id, gain
), found AS (
    SELECT technician_id, local_date, unit_id, gain, count(*) AS found, count(*) FILTER (WHERE call = 'clear') AS missed
    FROM point_visits
    WHERE call IN ('active', 'clear') AND truth = 'active' AND verified_by = 'decisive' AND NOT called_elsewhere
    GROUP BY technician_id, local_date, unit_id, gain
)
SELECT h.month, h.technician_id, h.local_date, h.unit_id, h.gain, h.readings, h.holds, h.hold_tenths, coalesce(f.found, 0) AS found, coalesce(f.missed, 0) AS missed
FROM held h
LEFT JOIN found f ON f.technician_id = h.technician_id AND f.local_date = h.local_date AND f.unit_id = h.unit_id AND f.gain = h.gain
ORDER BY h.month, h.technician_id, h.local_date, h.unit_id, h.gain
