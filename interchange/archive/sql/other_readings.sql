-- One row a reading of a test that is not one of the envelope.
SELECT session_id, item.*
FROM (SELECT session_id, unnest(other_readings) AS item FROM ($sessions))
