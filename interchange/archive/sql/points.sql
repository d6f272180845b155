-- One row a held pressure of a test of an envelope.
SELECT session_id, run_number, direction, point.* EXCLUDE (fan_readings)
FROM (
    SELECT session_id, run.run_number AS run_number, run.direction AS direction, unnest(run.points) AS point
    FROM (SELECT session_id, unnest(runs) AS run FROM ($sessions) WHERE kind NOT IN ('other_test', 'weather'))
)
