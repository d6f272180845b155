-- Columns of the decision part, without rows. Written by `interchange schema write schema`.
SELECT
    NULL::BIGINT AS "decision_number",
    NULL::TIMESTAMP WITH TIME ZONE AS "decided_at_utc",
    NULL::VARCHAR AS "session_id",
    NULL::VARCHAR AS "revision",
    NULL::VARCHAR AS "use",
    NULL::VARCHAR AS "decision",
    NULL::VARCHAR AS "decided_by",
    NULL::VARCHAR AS "decided_why"
LIMIT 0
