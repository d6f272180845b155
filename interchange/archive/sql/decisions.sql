-- The newest decision of a reviewer on each test, for all uses (use is null) or for one.
SELECT decided.*, stands.revision IS NOT NULL AS decided_on_current
FROM $decision AS decided
LEFT JOIN (SELECT session_id, revision FROM ($sessions)) AS stands USING (session_id, revision)
QUALIFY row_number() OVER (PARTITION BY session_id, use ORDER BY decision_number DESC) = 1
