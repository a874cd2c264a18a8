-- What becomes of candidate findings that name an inspection not held. In: candidate, held_inspections. Out: fate_now.
INSERT INTO fate_now
SELECT 'findings', c._file, c._line, 'waiting', false, 'inspection_id', 'unknown_inspection', c.inspection_id,
       'not known yet; taken in once it arrives'
FROM candidate c
LEFT JOIN held_inspections i ON i.inspection_id = c.inspection_id
WHERE c.inspection_id IS NOT NULL AND i.inspection_id IS NULL;
