-- One row a stretch of days in which a crew worked for a contractor.
SELECT *
FROM read_csv(
    $crews,
    columns = {
        'crew': 'VARCHAR',
        'valid_from': 'DATE',
        'valid_to': 'DATE',
        'contractor': 'VARCHAR'
    }
)
