-- One row a stretch of days in which a crew worked for a contractor.
SELECT *
FROM read_csv(
    $crews,
    auto_detect = false,
    header = true,
    delim = ',',
    quote = '"',
    escape = '"',
    nullstr = '',
    columns = {
        'crew': 'VARCHAR',
        'valid_from': 'DATE',
        'valid_to': 'DATE',
        'contractor': 'VARCHAR'
    }
)
