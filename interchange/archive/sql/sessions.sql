-- One row a test: what it has once. What it has several of stands in the views of those names.
SELECT * EXCLUDE (gauges, fans, fan_calibrations, reference_lines, channels, runs, kept)
FROM ($sessions)
