"""The three invented layouts, written from texts: a sheet, a sectioned record, a log.

Cells come in as texts already, so that what a file says is decided where it is meant, not here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

SHEET_COLUMNS = (
    "Job number",
    "House",
    "Stage",
    "Test date",
    "Test time",
    "Crew",
    "Contractor",
    "Baseline (Pa)",
    "House pressure (Pa)",
    "Fan setting",
    "Fan flow (cfm)",
    "Volume (cu ft)",
    "Floor area (sq ft)",
    "Indoor (F)",
    "Outdoor (F)",
    "Wind",
    "Leakage at 50 Pa (cfm)",
    "Remarks",
)
FIRST_SHEET_ROW = 2  # physical line of the first test

UNITS = {
    "Volume": "m³",
    "Floor area": "m²",
    "Envelope area": "m²",
    "Height": "m",
    "Elevation": "m",
    "Indoor": "°C",
    "Outdoor": "°C",
    "Barometer": "hPa",
    "Wind": "m/s",
    "Gust": "m/s",
    "Wind from": "°",
    "Line length": "m",
    "Baseline before": "Pa",
    "Baseline before spread": "Pa",
    "Baseline before seconds": "s",
    "Baseline after": "Pa",
    "Baseline after spread": "Pa",
    "Baseline after seconds": "s",
    "Flow at 50 Pa": "m³/h",
    "Air changes at 50 Pa": "1/h",
    "Coefficient": "m³/h",
}
CALIBRATION_HEAD = (
    ("Opening", "Coefficient", "Exponent", "Least fan pressure", "Reference density"),
    ("", "m³/h", "", "Pa", "kg/m³"),
)
POINT_HEAD = (
    ("Point", "Target", "Envelope", "Spread", "Seconds", "Opening", "Fan pressure", "Flow"),
    ("", "Pa", "Pa", "Pa", "s", "", "Pa", "m³/h"),
)


def sheet(rows: Sequence[Mapping[str, str]], columns: Sequence[str] = SHEET_COLUMNS, mark: bool = False) -> bytes:
    """A sheet of one test a row; `mark` puts the byte order mark first."""
    lines = [columns, *([row[column] for column in columns] for row in rows)]
    text = "".join(",".join(_quoted(cell) for cell in line) + "\r\n" for line in lines)
    return text.encode("utf-8-sig" if mark else "utf-8")


def _quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if any(sign in cell for sign in ',"\n') else cell


def sectioned(sections: Sequence[tuple[str, Sequence[Sequence[str]]]], encoding: str) -> bytes:
    """A sectioned record: name of each section and its lines of cells."""
    lines = ["Airtightness record;version 2"]
    for name, cells in sections:
        lines += [f"[{name}]", *(";".join(line) for line in cells)]
    return ("\n".join(lines) + "\n").encode(encoding)


def entries(pairs: Mapping[str, str]) -> list[list[str]]:
    """Lines of a section that holds names and values, with the unit the record gives."""
    return [[name, text, UNITS[name]] if name in UNITS else [name, text] for name, text in pairs.items()]


def log(keys: Mapping[str, str], rows: Sequence[Sequence[str]]) -> bytes:
    """A log: keys first, then columns."""
    head = [f"# {name}: {text}" for name, text in keys.items()]
    lines = [*head, "elapsed s,line A Pa,line B Pa,indoor C,wind m/s", *(",".join(row) for row in rows)]
    return ("\n".join(lines) + "\n").encode()
