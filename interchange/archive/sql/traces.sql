-- One row a stretch of a recorded channel, its values as a list.
SELECT * FROM ($traces)
