"""Which columns the views of what is stored have, without an archive."""

from __future__ import annotations

from interchange.archive import tables, views


def columns() -> dict[str, tuple[str, ...]]:
    """Columns of each view over sessions, traces, decisions and the journal, by the view's name."""
    connection = views.connect()
    for part, schema in tables.SCHEMAS.items():
        connection.register(f"{part}_rows", schema.empty_table())
    rows = {
        "sessions": "FROM session_rows",
        "traces": "FROM trace_rows",
        "source": "source_rows",
        "decision": "decision_rows",
    }
    return {
        view: tuple(connection.sql(views.template(view).substitute(rows)).columns)
        for view in sorted(views.names())
        if set(views.template(view).get_identifiers()) <= rows.keys()
    }
