-- table: month_readings
-- grain: one row per reading of the months at hand
-- about: What a reading says, kept in memory while tables of its month are made.
-- column: nth | which reading of its point in this inspection it is, from 1; control readings are numbered apart
SELECT r.*, row_number() OVER (PARTITION BY r.inspection_id, r.point_id, coalesce(r.control, false) ORDER BY r.taken_at, r.reading_id) AS nth
FROM near_readings r
WHERE EXISTS (SELECT 1 FROM visits v WHERE v.inspection_id = r.inspection_id)
