-- One row a column or key of the source that no field takes.
SELECT session_id, item.*
FROM (SELECT session_id, unnest(kept) AS item FROM ($sessions))
