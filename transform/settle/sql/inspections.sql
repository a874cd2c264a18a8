-- What becomes of candidate inspections whose region or technician is not held, or that end before they start
-- once local times have a zone. In: candidate, held_regions, held_technicians. Out: fate_now.
INSERT INTO fate_now
SELECT 'inspections', c._file, c._line, 'waiting', false,
       CASE WHEN r.region IS NULL THEN 'region' ELSE 'technician_id' END,
       CASE WHEN r.region IS NULL THEN 'unknown_region' ELSE 'unknown_technician' END,
       CASE WHEN r.region IS NULL THEN c.region ELSE c.technician_id END,
       'not known yet; taken in once it arrives'
FROM candidate c
LEFT JOIN held_regions r ON r.region = c.region
LEFT JOIN held_technicians t ON t.technician_id = c.technician_id
WHERE r.region IS NULL OR t.technician_id IS NULL;

INSERT INTO fate_now
SELECT 'inspections', c._file, c._line, 'rejected', false, 'ended_at', 'ends_after_start', strftime(c.ended_at, '%Y-%m-%dT%H:%M:%SZ'),
       'not within 24 h after started_at ' || strftime(c.started_at, '%Y-%m-%dT%H:%M:%SZ') || '; correct one of the two'
FROM candidate c
WHERE (c.ended_at < c.started_at OR c.ended_at > c.started_at + INTERVAL 24 HOURS)
  AND NOT EXISTS (SELECT 1 FROM fate_now f WHERE f.record_set = 'inspections' AND f.file = c._file AND f.line = c._line);
