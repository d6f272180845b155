-- One row a gauge of a test.
SELECT session_id, item.*
FROM (SELECT session_id, unnest(gauges) AS item FROM ($sessions))
