-- One row a reference line of a test.
SELECT session_id, item.*
FROM (SELECT session_id, unnest(reference_lines) AS item FROM ($sessions))
