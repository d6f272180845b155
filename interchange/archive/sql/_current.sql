-- Rows of the sessions that the newest row of each source in the journal holds. Only a source with several such rows
-- can have hidden revisions, so they are few and are left out, rather than all the others looked up.
SELECT stored.*
FROM $part AS stored
ANTI JOIN (
    SELECT session_id, revision
    FROM (
        SELECT unnest(session_ids) AS session_id, unnest(revisions) AS revision, newest
        FROM (
            SELECT
                session_ids,
                revisions,
                import_number = max(import_number) OVER source AS newest
            FROM $source
            WHERE import_state IN ('imported', 'amended', 'undone')
            WINDOW source AS (PARTITION BY source_sha256)
            QUALIFY count(*) OVER source > 1
        )
    )
    GROUP BY session_id, revision
    HAVING NOT bool_or(newest)
) AS hidden USING (session_id, revision)
