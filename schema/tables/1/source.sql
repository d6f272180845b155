-- Columns of the source part, without rows. Written by `interchange schema write schema`.
SELECT
    NULL::BIGINT AS "import_number",
    NULL::TIMESTAMP WITH TIME ZONE AS "imported_at_utc",
    NULL::VARCHAR AS "program_version",
    NULL::VARCHAR AS "source_sha256",
    NULL::VARCHAR AS "source_name",
    NULL::BIGINT AS "source_size_bytes",
    NULL::VARCHAR AS "original_sha256",
    NULL::VARCHAR AS "import_state",
    NULL::VARCHAR AS "plugin_id",
    NULL::VARCHAR AS "plugin_version",
    NULL::VARCHAR AS "plugin_fingerprint",
    NULL::VARCHAR[] AS "session_ids",
    NULL::VARCHAR[] AS "revisions",
    NULL::STRUCT("code" VARCHAR, "file" VARCHAR, "row" BIGINT, "column" VARCHAR, "found" VARCHAR, "expected" VARCHAR, "cure" VARCHAR, "count" BIGINT, "blocks" VARCHAR)[] AS "problems",
    NULL::STRUCT("question_id" VARCHAR, "subject" VARCHAR, "why" VARCHAR, "file" VARCHAR, "row" BIGINT, "column" VARCHAR, "choices" STRUCT("value" VARCHAR, "words" VARCHAR, "evidence" VARCHAR, "consequence" VARCHAR)[], "scopes" VARCHAR[])[] AS "questions",
    NULL::VARCHAR AS "delivery",
    NULL::VARCHAR AS "sender",
    NULL::VARCHAR AS "changed_by",
    NULL::VARCHAR AS "changed_why"
LIMIT 0
