-- Brings the list of rows that do not count up to date with one record set's fates. In: fate_now; $record_set. Out: not_held.
INSERT INTO not_held
SELECT record_set, file, line FROM fate_now WHERE record_set = $record_set AND NOT held
EXCEPT
SELECT record_set, file, line FROM not_held;
