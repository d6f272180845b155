-- One row a job that the programme expects.
SELECT *
FROM read_csv(
    $jobs,
    columns = {
        'job_id': 'VARCHAR',
        'site_id': 'VARCHAR',
        'contractor': 'VARCHAR',
        'before_expected_on': 'DATE',
        'interim_expected_on': 'DATE',
        'after_expected_on': 'DATE',
        'inspection_expected_on': 'DATE',
        'target_flow_50_m3_h': 'DOUBLE'
    }
)
