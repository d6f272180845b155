-- One row an opening of the envelope, as it stood during a test.
SELECT session_id, item.*
FROM (SELECT session_id, unnest(openings) AS item FROM ($sessions))
