-- name: unit_use
-- title: What do readings tell of a unit's clock and battery?
-- question: Does a unit's first reading come at another time after the start of an inspection than the same technicians' with other units, and how long would one charge last?
-- grain: one row per unit
-- reads: visits, readings
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: unit_id | unit
-- column: visits | visits compared, by technicians who also used other units
-- column: delay_minutes | median time from the start of the inspection to the unit's first reading, less the technician's own median with other units
-- column: delay_low | lower end of its 95% interval (Thompson 1936, by ranks)
-- column: delay_high | upper end of it
-- column: clock | late or early where the whole interval is over a minute from 0; else on time; too few below 20 visits
-- column: readings | readings of the unit
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
WITH placed AS (
    SELECT r.unit_id, r.technician_id, r.inspection_id, r.reading_id, r.taken_at, r.battery_pct, v.started_at,
           r.taken_at < v.started_at OR r.taken_at > coalesce(v.ended_at, r.taken_at) AS outside
    FROM readings r
    JOIN visits v ON v.inspection_id = r.inspection_id
    WHERE r.month BETWEEN $from AND $to
), batteries AS (
    SELECT unit_id, inspection_id, taken_at, battery_pct,
           battery_pct - lag(battery_pct) OVER (PARTITION BY unit_id, inspection_id ORDER BY taken_at, reading_id) AS change
    FROM placed
    WHERE battery_pct IS NOT NULL
), charges AS (
    SELECT unit_id, inspection_id, count(*) AS n, max(change) AS most,
           date_diff('second', min(taken_at), max(taken_at)) AS seconds,
           CAST(round(1000 * (max(battery_pct) - min(battery_pct))) AS BIGINT) AS drop_milli
    FROM batteries
    GROUP BY unit_id, inspection_id
)
SELECT p.unit_id, p.technician_id, p.inspection_id, date_diff('second', min(p.started_at), min(p.taken_at)) AS delay,
       count(*) AS readings, count(*) FILTER (WHERE p.outside) AS outside,
       coalesce(c.n > 1 AND c.most <= 0 AND c.seconds > 0, false) AS charged, coalesce(c.seconds, 0) AS seconds, coalesce(c.drop_milli, 0) AS drop_milli
FROM placed p
LEFT JOIN charges c ON c.unit_id = p.unit_id AND c.inspection_id = p.inspection_id
GROUP BY p.unit_id, p.technician_id, p.inspection_id, c.n, c.most, c.seconds, c.drop_milli
ORDER BY p.unit_id, p.inspection_id
