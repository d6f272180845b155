"""How workbooks in Office Open XML show numbers: as dates, times, durations, percent, or as they are."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from typing import Literal

from interchange.reading.workbook_sheets import Value

Form = Literal["number", "percent", "date", "time", "date-time", "duration"]

# built-in number formats, ISO/IEC 29500-1, 18.8.30; 27 to 36 and 50 to 58 show dates in East Asian languages
BUILT_IN: dict[int, Form] = {
    **dict.fromkeys((9, 10), "percent"),
    **dict.fromkeys((*range(14, 18), *range(27, 32), 36, *range(50, 55), 57, 58), "date"),
    **dict.fromkeys((*range(18, 22), *range(32, 36), 45, 47, 55, 56), "time"),
    22: "date-time",
    46: "duration",
}
_LITERALS = re.compile(r'"[^"]*"|\\.|_.|\*.|\[(?!(?:h+|m+|s+)\])[^\]]*\]', re.IGNORECASE)
_DAY_MS = 86_400_000
_LEAP_SERIAL = 60  # 29 February 1900, which there was not


def form_of(code: str) -> Form:
    """What a number format shows, as its first section says."""
    section = _LITERALS.sub("", code).partition(";")[0].lower()
    if "[" in section:
        return "duration"
    clock = "am/pm" in section or "a/p" in section
    section = section.replace("am/pm", "").replace("a/p", "")
    if not re.search(r"[dmyhs]", section):
        return "percent" if "%" in section else "time" if clock else "number"
    with_time = clock or re.search(r"[hs]", section) is not None
    with_date = re.search(r"[dy]", section) is not None or not with_time
    return "date-time" if with_date and with_time else "date" if with_date else "time"


def from_serial(serial: float, form: Form, from_1904: bool) -> Value:
    """The date or time that a number of days stands for; the number itself where it stands for none.

    Below one day it is a time of day. Times are true to the millisecond: a number of days holds no more.
    """
    try:
        milliseconds = round(serial * _DAY_MS)
        if form == "duration":
            return timedelta(milliseconds=milliseconds)
        days, rest = divmod(milliseconds, _DAY_MS)
        clock = (datetime.min + timedelta(milliseconds=rest)).time()
        if days < 0 or (days == _LEAP_SERIAL and not from_1904):
            return serial
        if days == 0:
            return clock
        first = date(1904, 1, 1) if from_1904 else date(1899, 12, 31 if days < _LEAP_SERIAL else 30)
        day = first + timedelta(days=days)
    except OverflowError:
        return serial
    return day if form == "date" and rest == 0 else datetime.combine(day, clock)
