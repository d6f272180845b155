"""Names of what the toolkit says of sources and files: journal, problems, questions, and columns of its lists."""

from __future__ import annotations

from interchange.quantities.quantity import Quantity
from interchange.quantities.quantity import quantity as _q

TABLE: tuple[Quantity, ...] = (
    # journal
    _q("imported_at_utc", "", "when the source was taken in"),
    _q("import_state", "", "what became of the source"),
    _q("program_version", "", "version of this toolkit"),
    _q("session_ids", "", "ids of the sessions that the source holds"),
    _q("revisions", "", "revisions of those sessions"),
    _q("session_count", "1", "tests that the source holds"),
    _q("problems", "", "what was wrong with the source, each with its place"),
    _q("questions", "", "what the source does not prove and somebody must say"),
    _q("import_number", "1", "number of the import try, counted from 1 in the order of commits"),
    _q("original_sha256", "", "SHA-256 of the source as the archive keeps it, compressed"),
    _q("archive_version", "1", "version of the archive that the row was computed from"),
    # problems and questions
    _q("code", "", "what sort of problem it is"),
    _q("file", "", "file the problem or question is about"),
    _q("row", "1", "row of the file, counted from 1 as an editor shows it"),
    _q("column", "", "column or key of the file"),
    _q("found", "", "what stands there"),
    _q("expected", "", "what should stand there"),
    _q("cure", "", "what to do about it"),
    _q("count", "1", "how often it occurs"),
    _q("blocks", "", "how much of the source cannot be used because of it"),
    _q("question_id", "", "id of the question: the same layout asking the same thing has the same id"),
    _q("subject", "", "what is asked"),
    _q("why", "", "why it must be asked"),
    _q("choices", "", "possible answers, or the closed list of words"),
    _q("words", "", "meaning of a field or answer"),
    _q("evidence", "", "what in the source speaks for an answer"),
    _q("consequence", "", "what follows from an answer"),
    _q("scopes", "", "how far an answer may reach"),
    # lists for people
    _q("files", "1", "files of this sort"),
    _q("median_flow_50_m3_h", "m3/h", "median of the recomputed flows at 50 Pa"),
    _q("median_change_percent", "%", "median of recomputed against displayed flow at 50 Pa"),
    _q("lowest_change_percent", "%", "lowest of recomputed against displayed flow at 50 Pa"),
    _q("highest_change_percent", "%", "highest of recomputed against displayed flow at 50 Pa"),
    _q("name", "", "name of a field, column or key"),
    _q("group", "", "part of the session a field stands in"),
    _q("ucum", "", "unit code"),
    _q("standard_name", "", "name in the CF conventions; ISO 8601 for dates and times"),
    _q("used_in", "", "who reads the field: views, recomputing, checks, tables of the tidy export"),
    _q("outcome", "", "what became of it"),
    _q("what_it_reads", "", "layout that the plugin reads"),
    _q("units", "", "system of units"),
    _q("languages", "", "languages of the headers"),
    _q("section", "", "section of the file"),
    _q("becomes", "", "mapped, ignored or kept"),
    _q("field", "", "field of the session that takes it"),
    _q("unit", "", "unit, and who states it"),
    _q("how", "", "sign, form or list that is followed"),
    _q("sample", "", "sample of the plugin"),
    _q("differences", "1", "places in which the sample turned out otherwise"),
    _q("view_name", "", "view that can be asked in SQL"),
    _q("column_names", "", "columns of the view"),
)
