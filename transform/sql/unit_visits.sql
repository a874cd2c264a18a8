-- table: unit_visits
-- grain: one row per inspection and unit
-- about: What an inspection's readings tell of a unit's clock and battery. Batteries are read within one inspection only:
--        between two a unit may be charged or lie idle.
-- column: inspection_id | key, with unit_id
-- column: delay_s | seconds from the inspection's start to the first reading with the unit
-- column: readings | readings, control readings too
-- column: outside | those of them before the start or after the end
-- column: charged | the battery never rose between two readings, and time passed
-- column: seconds | between the first and the last reading with a charge noted
-- column: lowest_pct | lowest charge noted; charges the number of those noted, low those below the protocol's battery_pct
-- column: drop_milli | thousandths of a percent that the charge fell
WITH placed AS (
    SELECT r.unit_id, v.technician_id, r.inspection_id, v.month, r.reading_id, r.taken_at, r.battery_pct, v.started_at,
           r.taken_at < v.started_at OR r.taken_at > coalesce(v.ended_at, r.taken_at) AS outside
    FROM these_readings r
    JOIN visits v ON v.inspection_id = r.inspection_id
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
SELECT p.inspection_id, p.unit_id, p.technician_id, p.month, date_diff('second', min(p.started_at), min(p.taken_at)) AS delay_s,
       count(*) AS readings, count(*) FILTER (WHERE p.outside) AS outside,
       coalesce(c.n > 1 AND c.most <= 0 AND c.seconds > 0, false) AS charged, coalesce(c.seconds, 0) AS seconds, coalesce(c.drop_milli, 0) AS drop_milli,
       min(p.battery_pct) AS lowest_pct, count(p.battery_pct) AS charges, count(*) FILTER (WHERE p.battery_pct < s.battery_pct) AS low
FROM placed p
LEFT JOIN charges c ON c.unit_id = p.unit_id AND c.inspection_id = p.inspection_id
CROSS JOIN params s
GROUP BY p.inspection_id, p.unit_id, p.technician_id, p.month, c.n, c.most, c.seconds, c.drop_milli
ORDER BY p.inspection_id, p.unit_id
