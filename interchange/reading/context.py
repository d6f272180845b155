"""What is known beside a file while it is read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Context:
    """What a file may not say: the IANA name of the archive's time zone, and the day after which no test can be."""

    time_zone: str | None = None
    latest: date | None = None


NO_CONTEXT = Context()
