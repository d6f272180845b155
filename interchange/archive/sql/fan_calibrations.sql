-- One row a fan calibration; its calibration_index is what fan readings refer to. Tables stand in calibration_points.
SELECT session_id, calibration_index, item.* EXCLUDE (calibration_points)
FROM (
    SELECT session_id, generate_subscripts(fan_calibrations, 1) - 1 AS calibration_index, unnest(fan_calibrations) AS item
    FROM ($sessions)
)
