-- What came in together, and what of it stands now.
SELECT
    delivery,
    first(sender) AS sender,
    min(imported_at_utc) FILTER (WHERE import_state IN ('imported', 'held', 'refused')) AS imported_at_utc,
    count(DISTINCT source_name) FILTER (WHERE import_state IN ('imported', 'held', 'refused')) AS files,
    count(DISTINCT source_name) FILTER (WHERE standing) AS files_standing,
    coalesce(sum(len(session_ids)) FILTER (WHERE standing), 0)::BIGINT AS session_count,
    bool_or(import_state = 'undone') AS undone
FROM (
    SELECT
        *,
        (import_state IN ('imported', 'amended') OR (import_state = 'undone' AND len(session_ids) > 0))
        AND import_number = max(import_number) FILTER (WHERE import_state IN ('imported', 'amended', 'undone')) OVER (
            PARTITION BY source_sha256
        ) AS standing
    FROM $source
)
WHERE delivery IS NOT NULL
GROUP BY delivery
