-- One row a stretch of days in which a crew carried the same kit.
SELECT *
FROM read_csv(
    $kit,
    columns = {
        'crew': 'VARCHAR',
        'valid_from': 'DATE',
        'valid_to': 'DATE',
        'gauge_serial': 'VARCHAR',
        'fan_serial': 'VARCHAR',
        'arrangement': 'VARCHAR'
    }
)
