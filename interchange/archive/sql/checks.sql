-- What was computed from this version of the archive, for each of its rule sets.
SELECT * FROM $checks
