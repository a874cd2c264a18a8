-- name: unit_use
-- title: What do readings tell of a unit's clock and battery?
-- question: Does a unit's first reading come at another time after the start of an inspection than the same technicians' with other units, and how long would one charge last?
-- grain: one row per unit
-- reads: unit_visits
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- param: newest | how many of a unit's inspections are looked at, from the newest back
-- column: unit_id | unit
-- column: visits | visits compared, by technicians who also used other units; of each unit the newest 2,000 are looked at
-- column: delay_minutes | median time from the start of the inspection to the unit's first reading, less the technician's own median with other units
-- column: delay_low | lower end of its 95% interval (Thompson 1936, by ranks)
-- column: delay_high | upper end of it
-- column: clock | late or early where the whole interval is over a minute from 0; else on time; too few below 20 visits
-- column: readings | readings of the unit in the visits looked at
-- column: outside | readings before the start or after the noted end of their inspection
-- column: outside_share | outside / readings
-- column: charge_visits | visits in which the battery was noted twice and did not rise
-- column: charge_hours | hours on one charge at the rate its battery fell during them
-- column: charge_low | lower end of its 95% interval, visits as clusters
-- column: charge_high | upper end of it
-- column: charge_enough | false below 20 such visits or a fall of 20% in all
-- caveat: Only what readings can bear: the battery is noted with readings, so hours are those of working time within visits. How a unit fares between visits would need its own log.
-- caveat: Readings up to 15 minutes outside their inspection are taken in, further ones are rejected when loaded; a clock that is off by more is to be looked for among the rejected rows.
-- caveat: Start times are often noted by hand to the minute.
WITH ranked AS (
    SELECT unit_id, technician_id, inspection_id, delay_s, readings, outside, charged, seconds, drop_milli,
           row_number() OVER (PARTITION BY unit_id ORDER BY month DESC, inspection_id DESC) AS nth
    FROM unit_visits
    WHERE month BETWEEN $from AND $to
)
SELECT unit_id, technician_id, inspection_id, delay_s, readings, outside, charged, seconds, drop_milli
FROM ranked
WHERE nth <= $newest
ORDER BY unit_id, inspection_id
