-- One row a further file that a test was read from.
SELECT session_id, item.*
FROM (SELECT session_id, unnest(companions) AS item FROM ($sessions))
