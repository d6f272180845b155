"""Questions, answers, and what a source turned into: the values that pass between reading, archive and people."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from interchange.errors import Place, Problem
from interchange.files import Source
from interchange.model.session import Session

if TYPE_CHECKING:
    import pyarrow as pa

Scope = Literal["file", "layout", "sender"]


@dataclass(frozen=True, slots=True)
class Choice:
    """One possible answer, what speaks for it in the source, and what follows from it."""

    value: str
    words: str
    evidence: str
    consequence: str


@dataclass(frozen=True, slots=True)
class Question:
    """Something the source does not prove and somebody must say. Never answered by a guess."""

    question_id: str
    subject: str
    why: str
    place: Place
    choices: tuple[Choice, ...]
    scopes: tuple[Scope, ...] = ("file", "layout", "sender")


def question_id(layout_fingerprint: str, subject: str) -> str:
    """Id of a question: the same layout asking the same thing has the same id."""
    return hashlib.sha256(f"{layout_fingerprint}\n{subject}".encode()).hexdigest()[:12]


@dataclass(frozen=True, slots=True)
class Answer:
    """What somebody said to a question."""

    question_id: str
    value: str
    scope: Scope
    who: str
    when: datetime
    why: str = ""


@dataclass(frozen=True, slots=True)
class Trace:
    """The values of one channel of one session, outside the document because there are many.

    `values` is an Arrow float64 array in the unit of the channel's quantity, null where missing or over range, or
    what can be measured, sliced and listed as one where the values are too many for memory;
    `time_s` is given only where steps differ, else values stand `interval_s` apart from `start_s` on.
    """

    session_id: str
    channel_id: str
    start_s: float
    interval_s: float | None
    time_s: pa.Array | None
    values: pa.Array


@dataclass(frozen=True, slots=True)
class Mapped:
    """What a source turned into. Blocking questions or problems mean no sessions: nothing is half imported."""

    sessions: tuple[Session, ...] = ()
    traces: tuple[Trace, ...] = ()
    questions: tuple[Question, ...] = ()
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class Delivery:
    """What came in together: a name that no other delivery of the archive has, and who sent it."""

    name: str
    sender: str | None = None


@dataclass(frozen=True, slots=True)
class Change:
    """Who changed what stands in the archive, and why."""

    who: str
    why: str


@dataclass(frozen=True, slots=True)
class Decision:
    """What a reviewer decided of a test, for one use or for all; it stands above the computed verdict."""

    session_id: str
    use: str | None
    decision: str
    decided_by: str
    decided_why: str
    decided_at_utc: datetime


@dataclass(frozen=True, slots=True)
class Import:
    """One source on its way into the archive: its bytes, what they turned into, and what stood in the way."""

    source: Source
    state: Literal["imported", "held", "refused"]
    plugin_id: str | None = None
    plugin_version: str | None = None
    plugin_fingerprint: str | None = None
    mapped: Mapped = field(default_factory=Mapped)
