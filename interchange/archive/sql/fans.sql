-- One row a fan of a test.
SELECT session_id, item.*
FROM (SELECT session_id, unnest(fans) AS item FROM ($sessions))
