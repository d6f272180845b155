"""What the samples of tables, logs and records should be read as: numbers, pointers to what is kept, series.

The factors are written down here once more, and on purpose: what the samples expect must not come from the table of
units that it is held against. A text becomes an exact fraction and is rounded once.

References
----------
[1] NIST Special Publication 811 (2008), appendix B: foot 0.3048 m, inch 0.0254 m, mile 5280 ft.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime, timedelta
from fractions import Fraction

from interchange.demo.sample import Document, filled

_FOOT_M = Fraction("0.3048")
_INCH_M = Fraction("0.0254")

# value in the archive's unit = value * factor + offset
_FACTORS = {
    **dict.fromkeys(
        ("1", "Pa", "m³/h", "m3/h", "m³", "m3", "m²", "m", "s", "°", "deg", "m/s", "/h", "1/h", "kg/m³"), Fraction(1)
    ),
    **dict.fromkeys(("C", "°C"), Fraction(1)),
    "hPa": Fraction(100),
    "%": Fraction(1, 100),
    "mm": Fraction(1, 1000),
    "km": Fraction(1000),
    "cfm": 60 * _FOOT_M**3,
    "L/s": Fraction(3600, 1000),
    "cu ft": _FOOT_M**3,
    "ft": _FOOT_M,
    **dict.fromkeys(("cm2", "cm²"), Fraction(1, 100**2)),
    "in2": _INCH_M**2,
    "mph": 5280 * _FOOT_M / 3600,
    "km/h": Fraction(1000, 3600),
    "0.1 m/s": Fraction(1, 10),
    "0.1 °C": Fraction(1, 10),
    "°F": Fraction(5, 9),
}
_OFFSETS = {"°F": Fraction(-160, 9)}
_SPREADSHEET_EPOCH = datetime(1899, 12, 30)


def exact(text: str, spelling: str) -> Fraction:
    """The value of a text with decimal point or comma, in the unit of the archive."""
    return Fraction(text.replace(",", ".")) * _FACTORS[spelling] + _OFFSETS.get(spelling, 0)


def value(text: str, spelling: str, missing: Collection[str] = ("",)) -> float | None:
    """The value in the unit of the archive, or None where the text means that there is none."""
    return None if text in missing else float(exact(text, spelling))


def kind_of(point_count: int) -> str:
    """The kind of a test whose layout has room for any number of points."""
    return {1: "single_point", 2: "two_point"}.get(point_count, "multi_point")


def spreadsheet_time(text: str) -> datetime:
    """Time of a spreadsheet's day with its fraction, to the nearest second."""
    return _SPREADSHEET_EPOCH + timedelta(seconds=round(Fraction(text) * 86_400))


def kept(name: str, cells: Sequence[tuple[int, str]], section: str | None = None) -> Document:
    """A pointer to the cells, given with their rows, that nothing takes; empty cells are none."""
    found = [(row, text) for row, text in cells if text]
    if not found:
        return {}
    return filled(
        {
            "kept_section": section,
            "kept_name": name,
            "kept_first_row": found[0][0],
            "kept_last_row": found[-1][0],
            "kept_count": len(found),
            "kept_first": found[0][1],
            "kept_last": found[-1][1],
        }
    )


def series(
    about: Document, values: Sequence[float | None], start_s: float, interval_s: float, averaging_s: float | None = None
) -> tuple[Document, Document]:
    """A channel, given what it is called and measures, and its trace."""
    times = {"start_s": start_s, "interval_s": interval_s}
    channel = {
        **filled({**about, **times, "averaging_s": averaging_s}),
        "sample_count": len(values),
        "missing_count": values.count(None),
    }
    trace = {"source_place": "file", "channel_id": about["channel_id"], **times, "values": list(values)}
    return channel, trace
