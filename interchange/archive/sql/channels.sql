-- One row a recorded channel of a test.
SELECT session_id, item.*
FROM (SELECT session_id, unnest(channels) AS item FROM ($sessions))
