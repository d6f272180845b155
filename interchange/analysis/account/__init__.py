"""The whole calculation of one test, number by number, as an auditor follows it."""
