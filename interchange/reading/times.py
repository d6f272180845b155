"""Dates, clocks and offsets as a manifest writes their form, and what is known of the start of a test."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone
from functools import lru_cache
from typing import Any, Literal
from zoneinfo import ZoneInfo

from interchange.model.mapping import TIME_PARTS

_PATTERNS = {
    "%Y": r"(?P<Y>[0-9]{4})",
    "%y": r"(?P<y>[0-9]{2})",
    "%m": r"(?P<m>[0-9]{1,2})",
    "%d": r"(?P<d>[0-9]{1,2})",
    "%H": r"(?P<H>[0-9]{1,2})",
    "%I": r"(?P<I>[0-9]{1,2})",
    "%M": r"(?P<M>[0-9]{2})",
    "%S": r"(?P<S>[0-9]{2})",
    "%f": r"(?P<f>[0-9]{1,9})",
    "%p": r"(?P<p>[AaPp])[Mm]",
    "%z": r"(?P<z>Z|[+-][0-9]{2}:?[0-9]{2})",
}
_HOURS_ON_DIAL = 12
_MIDNIGHT_AT_THE_END = 24
_CENTURY = 2000  # %y is stated to mean 20yy
START_YEARS = (1985, 2099)  # a start before or after them is a slip: the test is younger, and not yet to come
WEATHER_YEARS = (1850, 2099)  # weather records reach back further
_LARGEST_OFFSET_S = 18 * 3600  # ISO 8601 sets no limit; 18 h is beyond every zone in use
DAY_S = 86_400
# the first moment of each count and the seconds of its unit; that of Unix time is UTC
COUNTS = {
    "epoch s": (datetime(1970, 1, 1), 1.0),
    "epoch ms": (datetime(1970, 1, 1), 0.001),
    "days since 1899-12-30": (datetime(1899, 12, 30), float(DAY_S)),
    "days since 1904-01-01": (datetime(1904, 1, 1), float(DAY_S)),
}


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


def in_utc_count(time_format: str) -> bool:
    """Whether the form counts from a moment in UTC."""
    return time_format.startswith("epoch")


@lru_cache(maxsize=64)
def pattern(time_format: str, month_names: tuple[str, ...] | None = None) -> str:
    """The regular expression of a form, with a group for each of its parts."""
    months = {"%b": f"(?P<b>{'|'.join(map(re.escape, month_names))})"} if month_names else {}
    pieces = re.split(r"(%.)", time_format)
    return "".join((_PATTERNS | months).get(piece) or re.escape(piece) for piece in pieces)


def form_in_words(time_format: str) -> str:
    """The form as people write it: `MM/DD/YYYY`."""
    return re.sub(r"%.", lambda part: TIME_PARTS[part[0]], time_format)


def moment(text: str, time_format: str, month_names: tuple[str, ...] | None = None) -> Moment:
    """The time a text holds. Raises TimeFormError or NoSuchTimeError."""
    if time_format in COUNTS:
        return _counted(text, time_format)
    match = re.fullmatch(pattern(time_format, month_names), text)
    if match is None:
        raise TimeFormError(text)
    part = match.groupdict()
    try:
        day = _day(part, month_names)
        clock = None
        if "H" in part or "I" in part:
            hour = _hour(part)
            if day is not None and hour == _MIDNIGHT_AT_THE_END and int(part.get("M", 0)) == int(part.get("S", 0)) == 0:
                day, hour = day + timedelta(days=1), 0
            fraction = part.get("f", "0")[:6].ljust(6, "0")
            clock = time(hour, int(part.get("M", 0)), int(part.get("S", 0)), int(fraction))
    except (ValueError, OverflowError):
        raise NoSuchTimeError(text) from None
    return Moment(day, clock, offset_s(part["z"]) if "z" in part else None)


def iso_moment(text: str) -> Moment:
    """The time that a typed cell of a workbook holds, in ISO 8601. Raises TimeFormError."""
    try:
        if re.fullmatch(r"\d{4}-\d\d-\d\d", text):
            return Moment(date.fromisoformat(text))
        if re.fullmatch(r"\d\d:\d\d(:\d\d(\.\d+)?)?", text):
            return Moment(clock=time.fromisoformat(text))
        found = datetime.fromisoformat(text)
    except ValueError:
        raise TimeFormError(text) from None
    return Moment(found.date(), found.time())


def _counted(text: str, time_format: str) -> Moment:
    first, unit_s = COUNTS[time_format]
    try:
        when = first + timedelta(microseconds=round(float(text) * unit_s * 1e3) * 1e3)
    except ValueError:
        raise TimeFormError(text) from None
    except OverflowError:
        raise NoSuchTimeError(text) from None
    if not in_utc_count(time_format):  # days with a fraction are no finer than a second
        when = (when + timedelta(microseconds=500_000)).replace(microsecond=0)
    return Moment(when.date(), when.time(), 0 if in_utc_count(time_format) else None)


def _day(part: dict[str, Any], month_names: tuple[str, ...] | None) -> date | None:
    if "d" not in part:
        return None
    year = int(part["Y"]) if "Y" in part else _CENTURY + int(part["y"])
    month = (month_names or ()).index(part["b"]) + 1 if "b" in part else int(part["m"])
    return date(year, month, int(part["d"]))


def _hour(part: dict[str, Any]) -> int:
    if "H" in part:
        return int(part["H"])
    hour = int(part["I"])
    if not 1 <= hour <= _HOURS_ON_DIAL:
        raise ValueError(hour)
    afternoon = part["p"] in "Pp"
    return hour % _HOURS_ON_DIAL + _HOURS_ON_DIAL * afternoon


def offset_s(text: str) -> int:
    """Offset from UTC [s] of `Z` or `+01:00`. Raises NoSuchTimeError."""
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
