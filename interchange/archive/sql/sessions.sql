-- One row a record of any kind: what it has once. What it has several of stands in the views of those names.
SELECT
    * EXCLUDE (
        openings,
        gauges,
        fans,
        fan_calibrations,
        reference_lines,
        channels,
        runs,
        other_readings,
        kept,
        companions,
        answers_used,
        amendments
    )
FROM ($sessions)
