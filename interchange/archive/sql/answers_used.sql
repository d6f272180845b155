-- One row an answer that reading followed.
SELECT session_id, item.*
FROM (SELECT session_id, unnest(answers_used) AS item FROM ($sessions))
