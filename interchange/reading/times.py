"""Dates, clocks and offsets as a manifest writes their form, and what is known of the start of a test."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone
from functools import lru_cache
from typing import Any, Literal
from zoneinfo import ZoneInfo

from interchange.model.manifest import TIME_PARTS

_PATTERNS = {
    "%Y": r"(?P<Y>[0-9]{4})",
    "%m": r"(?P<m>[0-9]{1,2})",
    "%d": r"(?P<d>[0-9]{1,2})",
    "%H": r"(?P<H>[0-9]{1,2})",
    "%I": r"(?P<I>[0-9]{1,2})",
    "%M": r"(?P<M>[0-9]{2})",
    "%S": r"(?P<S>[0-9]{2})",
    "%p": r"(?P<p>[AaPp])[Mm]",
    "%z": r"(?P<z>Z|[+-][0-9]{2}:?[0-9]{2})",
}
_HOURS_ON_DIAL = 12
START_YEARS = (1985, 2099)  # a start before or after them is a slip: the test is younger, and not yet to come
_LARGEST_OFFSET_S = 18 * 3600  # ISO 8601 sets no limit; 18 h is beyond every zone in use


@dataclass(frozen=True, slots=True)
class Moment:
    """The parts of a time that a text holds."""

    day: date | None = None
    clock: time | None = None
    offset_s: int | None = None


class TimeFormError(ValueError):
    """The text does not have the stated form."""


class NoSuchTimeError(ValueError):
    """The text has the form, but no calendar or clock shows that time."""


@lru_cache(maxsize=64)
def _pattern(time_format: str) -> re.Pattern[str]:
    pieces = re.split(r"(%.)", time_format)
    return re.compile("".join(_PATTERNS.get(piece) or re.escape(piece) for piece in pieces))


def form_in_words(time_format: str) -> str:
    """The form as people write it: `MM/DD/YYYY`."""
    return re.sub(r"%.", lambda part: TIME_PARTS[part[0]], time_format)


def moment(text: str, time_format: str) -> Moment:
    """The time a text holds. Raises TimeFormError or NoSuchTimeError."""
    match = _pattern(time_format).fullmatch(text)
    if match is None:
        raise TimeFormError(text)
    part = match.groupdict()
    try:
        day = date(int(part["Y"]), int(part["m"]), int(part["d"])) if "Y" in part else None
        clock = None
        if "H" in part or "I" in part:
            clock = time(_hour(part), int(part.get("M", 0)), int(part.get("S", 0)))
    except ValueError:
        raise NoSuchTimeError(text) from None
    return Moment(day, clock, _offset_s(part["z"]) if "z" in part else None)


def _hour(part: dict[str, Any]) -> int:
    if "H" in part:
        return int(part["H"])
    hour = int(part["I"])
    if not 1 <= hour <= _HOURS_ON_DIAL:
        raise ValueError(hour)
    afternoon = part["p"] in "Pp"
    return hour % _HOURS_ON_DIAL + _HOURS_ON_DIAL * afternoon


def _offset_s(text: str) -> int:
    if text == "Z":
        return 0
    digits = text[1:].replace(":", "")
    minutes = int(digits[2:])
    offset = int(digits[:2]) * 3600 + minutes * 60
    if minutes >= 60 or offset > _LARGEST_OFFSET_S:
        raise NoSuchTimeError(text)
    return -offset if text[0] == "-" else offset


def on_clock(local: datetime, zone: ZoneInfo) -> Literal["once", "never", "twice"]:
    """How often a clock of the zone shows this time: never in the hour that is skipped, twice in the one repeated."""
    first, second = (local.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    if first == second:
        return "once"
    back = local.replace(tzinfo=zone).astimezone(UTC).astimezone(zone).replace(tzinfo=None)
    return "twice" if back == local else "never"


def offset_in_zone_s(local: datetime, zone: ZoneInfo, fold: int) -> int:
    """Offset of the zone's clock from UTC at a local time [s]; fold 1 is the second pass of a repeated hour."""
    offset = local.replace(tzinfo=zone, fold=fold).utcoffset()
    return 0 if offset is None else int(offset.total_seconds())


def in_utc(local: datetime, offset_s: int) -> datetime:
    """The same instant in UTC."""
    return local.replace(tzinfo=timezone(timedelta(seconds=offset_s))).astimezone(UTC)
