-- One row a run of a test.
SELECT session_id, run.* EXCLUDE (points)
FROM (SELECT session_id, unnest(runs) AS run FROM ($sessions))
