-- Columns of the trace part, without rows. Written by `interchange schema write schema`.
SELECT
    NULL::VARCHAR AS "session_id",
    NULL::VARCHAR AS "revision",
    NULL::VARCHAR AS "channel_id",
    NULL::BIGINT AS "chunk_number",
    NULL::DOUBLE AS "start_s",
    NULL::DOUBLE AS "interval_s",
    NULL::DOUBLE[] AS "time_s",
    NULL::DOUBLE[] AS "values"
LIMIT 0
