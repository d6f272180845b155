-- One row a fan at a held pressure of a test of an envelope.
SELECT session_id, run_number, direction, point_number, envelope_pressure_pa, reading.*
FROM (
    SELECT
        session_id,
        run_number,
        direction,
        point.point_number AS point_number,
        point.envelope_pressure_pa AS envelope_pressure_pa,
        unnest(point.fan_readings) AS reading
    FROM (
        SELECT session_id, run.run_number AS run_number, run.direction AS direction, unnest(run.points) AS point
        FROM (SELECT session_id, unnest(runs) AS run FROM ($sessions) WHERE kind NOT IN ('other_test', 'weather'))
    )
)
