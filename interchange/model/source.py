"""Where a session was read from, and what of it no field takes."""

from __future__ import annotations

from interchange.model.base import Record
from interchange.model.values import Count, Ordinal, Sha256, Text


class Kept(Record):
    """A pointer to cells of the source that no field takes; the original holds them."""

    kept_source_name: Text | None = None
    kept_section: Text | None = None
    kept_name: Text
    kept_first_row: Ordinal
    kept_last_row: Ordinal
    kept_count: Ordinal
    kept_first: str | None = None
    kept_last: str | None = None


class Companion(Record):
    """A further file of the same delivery that the test was read from."""

    companion_role: Text
    companion_name: Text
    companion_sha256: Sha256


class AnswerUsed(Record):
    """What somebody said to a question about the source, and reading followed."""

    question_id: Text
    answer_value: Text


class SourceOfRecord(Record):
    """Where the session was read from, and by which plugin."""

    source_name: Text
    source_sha256: Sha256
    source_size_bytes: Count
    source_encoding: Text
    source_place: Text
    plugin_id: Text
    plugin_version: Text
    plugin_fingerprint: Text
    companions: tuple[Companion, ...] = ()
    answers_used: tuple[AnswerUsed, ...] = ()
