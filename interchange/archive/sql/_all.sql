-- Rows of a version in which no import ever took a stored revision out of the current ones.
SELECT * FROM $part
