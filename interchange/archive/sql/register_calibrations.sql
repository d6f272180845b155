-- One row a calibration of a fan with one opening.
SELECT *
FROM read_csv(
    $calibrations,
    columns = {
        'fan_serial': 'VARCHAR',
        'fan_configuration': 'VARCHAR',
        'fan_calibrated_on': 'DATE',
        'fan_calibration_due_on': 'DATE',
        'fan_coefficient_m3_h': 'DOUBLE',
        'fan_exponent': 'DOUBLE',
        'reference_air_density_kg_m3': 'DOUBLE',
        'minimum_fan_pressure_pa': 'DOUBLE',
        'maximum_fan_pressure_pa': 'DOUBLE'
    }
)
