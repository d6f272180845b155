"""Deliveries of the year that cannot be read as they stand, and one in an encoding of its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from interchange.demo.programme import Delivery
from interchange.demo.visit import generator


def _text(delivery: Delivery) -> tuple[list[str], str, str]:
    """Lines of a delivery, the line end, the encoding."""
    for encoding in ("utf-8", "cp1252"):
        try:
            text = delivery.content.decode(encoding)
        except UnicodeDecodeError:
            continue
        end = "\r\n" if "\r\n" in text else "\n"
        return text.split(end), end, encoding
    raise ValueError(delivery.file)


def _words(test: Mapping[str, object]) -> list[str]:
    planted = test["planted"]
    return [str(word) for word in planted] if isinstance(planted, list) else []


def _refused(file: str, why: str, content: bytes) -> Delivery:
    return Delivery(file, content, "refused", why)


def _changed(delivery: Delivery, file: str, why: str, number: int, line: str) -> Delivery:
    """The delivery with another line in place of that of a number, counted from 1."""
    lines, end, encoding = _text(delivery)
    lines[number - 1] = line
    return _refused(file, why, end.join(lines).encode(encoding))


def _line(delivery: Delivery, number: int) -> str:
    return _text(delivery)[0][number - 1]


def spoilt(made: Mapping[str, Delivery]) -> list[Delivery]:
    """Spoilt versions of deliveries that were made, by file name."""
    sheet = made["ostrel/o1/2025-09/tests-sept-again.csv"]
    shifted = made["ostrel/o2/2025-07/crew 2 summer.csv"]
    table = made["quillby/q1/2025-11/novembre.csv"]
    flow_row = next(n for n, line in enumerate(_text(table)[0], 1) if line.startswith("Débit (m³/h)"))
    slipped = _line(table, flow_row).replace(";1 ", ";l ", 1)
    wide = made["quillby/q2/2025-09/FV-2964-log.csv"]
    german = made["harrow/c2/2025-07/FV-1923-after.csv"]
    points = made["harrow/c2/2025-12/FV-1930-after.csv"]
    rng = generator("a scan, not a table")
    wide_text = Delivery(
        "ostrel/o1/2026-01/tests-sept-new-laptop.csv",
        ("\ufeff" + sheet.content.decode()).encode("utf-16-le"),
        "imported",
        "UTF-16 with its mark, as a spreadsheet saves it on request; the tests of September once more",
        tuple({**test, "planted": [*_words(test), f"resend_of:{sheet.file}"]} for test in sheet.tests),
    )
    return [
        wide_text,
        _refused(
            "ostrel/o1/2025-09/tests-sept.csv",
            "cut within its fifth row; sent again whole",
            sheet.content[: sheet.content.index(_line(sheet, 5).encode()) + 31],
        ),
        _changed(
            shifted,
            "ostrel/o2/2025-06/crew 2 june.csv",
            "row 4 has a comma too many: its cells are shifted by one column",
            4,
            _line(shifted, 4).replace("O2,", "O2,,", 1),
        ),
        _refused("quillby/q2/2025-09/tests.csv", "a header without rows", (_line(sheet, 1) + "\r\n").encode()),
        _refused("quillby/q2/2025-10/FV-2954 before 1s.txt", "no bytes at all", b""),
        _refused(
            "quillby/q1/2025-07/photo du carnet.csv",
            "a picture under the name of a table: no text",
            b"\x89\x00\x0d\x0a\x00\x1a" + bytes(rng.integers(0, 256, 900, dtype="uint8")),
        ),
        _changed(
            table,
            "quillby/q1/2025-11/novembre (1).csv",
            f"row {flow_row}: a letter l in a flow",
            flow_row,
            slipped,
        ),
        _refused(
            "quillby/q2/2025-09/FV-2966-log.csv",
            "the log stops for 40 s and goes on: its seconds have a gap",
            _gap(wide).replace(b"FV-2964", b"FV-2966").replace(b"Q-164", b"Q-166"),
        ),
        _refused(
            "harrow/c2/2025-07/FV-1934-before.csv",
            "a point's house pressure reads -4O,2 with the letter O",
            _letter(german).replace(b"FV-1923", b"FV-1934").replace(b"H-53", b"H-64"),
        ),
        replace(
            points,
            file="harrow/c2/2025-12/FV-1935-before.csv",
            content=points.content.replace(b"FV-1930", b"FV-1935").replace(b"H-60", b"H-65"),
            outcome="refused",
            why="its baseline file was not sent",
            tests=(),
            companions=(),
        ),
        _changed(
            sheet,
            "ostrel/o1/2025-10/tests-october-a.csv",
            "row 3: the house pressure reads -5O.1 with the letter O",
            3,
            _with_letter(_line(sheet, 3)),
        ),
    ]


def _with_letter(line: str) -> str:
    cells = line.split(",")
    cells[8] = "-5O.1"
    return ",".join(cells)


def _gap(delivery: Delivery) -> bytes:
    lines, end, encoding = _text(delivery)
    kept = [line for line in lines if not (line[:1].isdigit() and 120 <= int(line.split(",")[0]) < 160)]
    return end.join(kept).encode(encoding)


def _letter(delivery: Delivery) -> bytes:
    lines, end, encoding = _text(delivery)
    number = [index for index, line in enumerate(lines) if ";Messpunkt;" in line][4]
    cells = lines[number].split(";")
    cells[2] = "-4O,2"
    lines[number] = ";".join(cells)
    return end.join(lines).encode(encoding)
