-- One row a run of a test of an envelope.
SELECT session_id, run.* EXCLUDE (points)
FROM (SELECT session_id, unnest(runs) AS run FROM ($sessions) WHERE kind NOT IN ('other_test', 'weather'))
