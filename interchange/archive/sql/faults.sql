-- Each fault of line or handling that a test's own record could show: how likely it is, and what it does to the result.
SELECT * FROM $faults
