-- The best estimate in wind of each test, from readings as a rule set corrects them, beside that rule set's result.
SELECT * FROM $estimates
