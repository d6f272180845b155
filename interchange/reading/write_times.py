"""Dates, clocks, offsets and elapsed times in the forms of a manifest."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from interchange.model.manifest import Layout
from interchange.reading.write_numbers import plain_number

_DAY_DIGITS = 10  # finer than a hundredth of a millisecond
_DAY, _SECOND = timedelta(days=1), timedelta(seconds=1)
_EPOCH = datetime(1970, 1, 1)
_CALENDAR: dict[str, Callable[[datetime], str]] = {
    "%Y": lambda when: f"{when.year:04d}",
    "%y": lambda when: f"{when.year % 100:02d}",
    "%m": lambda when: f"{when.month:02d}",
    "%H": lambda when: f"{when.hour:02d}",
    "%I": lambda when: str(when.hour % 12 or 12),
    "%M": lambda when: f"{when.minute:02d}",
    "%S": lambda when: f"{when.second:02d}",
    "%f": lambda when: _fraction(when.microsecond),
    "%p": lambda when: "AM" if when.hour < 12 else "PM",
}


def time_text(
    time_format: str, when: datetime, offset_s: int | None, layout: Layout, day_decimals: int | None = None
) -> str | None:
    """A time by the clock of the place; None where the form needs an offset from UTC, and none is known.

    `day_decimals` are those of a count of days; where not given, there are as many as it takes.
    """
    if time_format.startswith("epoch "):
        utc = None if offset_s is None else later(when, -offset_s)
        if utc is None:
            return None
        since = utc - _EPOCH
        return plain_number(since / (_SECOND if time_format == "epoch s" else _SECOND / 1000), layout)
    if time_format.startswith("days since "):
        first = datetime.fromisoformat(time_format.removeprefix("days since "))
        days = (when - first) / _DAY
        if day_decimals is not None:
            return f"{days:.{day_decimals}f}".replace(".", layout.decimal_mark)
        return plain_number(round(days, _DAY_DIGITS), layout)
    text = time_format
    if "%z" in text:
        if offset_s is None or offset_s % 60:
            return None
        text = text.replace("%z", _offset_text(offset_s))
    # a written month goes with a day without a leading zero: 3 Feb 2019
    text = text.replace("%d", str(when.day) if "%b" in text else f"{when.day:02d}")
    for part, words in _CALENDAR.items():
        text = text.replace(part, words(when))
    return text.replace("%b", layout.month_names[when.month - 1]) if layout.month_names is not None else text


def later(when: datetime, seconds: float) -> datetime | None:
    """A time so many seconds later; None where no calendar shows it."""
    try:
        return when + timedelta(seconds=seconds)
    except OverflowError:
        return None


def elapsed_text(time_format: str, seconds: float) -> str:
    """Seconds since the start in hours, minutes and seconds."""
    rest, microseconds = divmod(round(seconds * 1_000_000), 1_000_000)
    text = time_format.replace("%f", _fraction(microseconds))
    for part, size in (("%H", 3600), ("%M", 60), ("%S", 1)):
        if part in text:
            count, rest = divmod(rest, size)
            text = text.replace(part, f"{count:02d}")
    return text


def _offset_text(offset_s: int) -> str:
    hours, minutes = divmod(abs(offset_s) // 60, 60)
    return f"{'-' if offset_s < 0 else '+'}{hours:02d}:{minutes:02d}"


def _fraction(microseconds: int) -> str:
    return f"{microseconds:06d}".rstrip("0") or "0"
