-- One row a field that a person corrected.
SELECT session_id, item.*
FROM (SELECT session_id, unnest(amendments) AS item FROM ($sessions))
