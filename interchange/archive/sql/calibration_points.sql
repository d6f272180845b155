-- One row a row of the table of a fan calibration, in the order of fan pressure.
SELECT session_id, calibration_index, fan_id, fan_configuration, point.*
FROM (
    SELECT
        session_id,
        calibration_index,
        item.fan_id AS fan_id,
        item.fan_configuration AS fan_configuration,
        unnest(item.calibration_points) AS point
    FROM (
        SELECT
            session_id,
            generate_subscripts(fan_calibrations, 1) - 1 AS calibration_index,
            unnest(fan_calibrations) AS item
        FROM ($sessions)
    )
)
