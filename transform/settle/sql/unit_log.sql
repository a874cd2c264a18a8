-- What becomes of candidate samples whose unit is not held. In: candidate, held_units. Out: fate_now.
INSERT INTO fate_now
SELECT 'unit_log', c._file, c._line, 'waiting', false, 'unit_id', 'unknown_unit', c.unit_id,
       'not known yet; taken in once it arrives'
FROM candidate c
LEFT JOIN held_units u ON u.unit_id = c.unit_id
WHERE u.unit_id IS NULL;
