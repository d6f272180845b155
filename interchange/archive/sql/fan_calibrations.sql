-- One row a fan calibration; its calibration_index is what fan readings refer to.
SELECT session_id, calibration_index, item.*
FROM (
    SELECT session_id, generate_subscripts(fan_calibrations, 1) - 1 AS calibration_index, unnest(fan_calibrations) AS item
    FROM ($sessions)
)
