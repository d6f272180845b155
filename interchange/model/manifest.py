"""The manifest of a plugin (`plugin.toml`), version 1: how a layout is known, cut into blocks and mapped to a session.

A fixed vocabulary without expressions and without conditions. Every column and key of a file is mapped (`to`),
ignored by name with a reason (`ignore`), or kept and reported (neither, or not listed at all).
"""

from __future__ import annotations

import hashlib
import json
import re
import tomllib
from collections.abc import Iterator
from functools import cached_property
from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, ValidationError, model_validator

from interchange.errors import Place, PluginError, Problem
from interchange.model.base import Form
from interchange.model.document import validation_problems
from interchange.model.session import (
    Building,
    Channel,
    Conditions,
    Direction,
    Fan,
    FanCalibration,
    FanReading,
    Gauge,
    Point,
    RecordKeeping,
    ReferenceLine,
    Reported,
    Run,
)
from interchange.quantities import CHOICES, QUANTITIES
from interchange.units import UnknownUnitError, WrongDimensionError, conversion

Word = Annotated[str, StringConstraints(min_length=1, max_length=200)]
Words = Annotated[str, StringConstraints(min_length=1, max_length=2000)]
Beaufort = Annotated[int, Field(ge=0, le=12)]
Level = Literal["session", "gauge", "fan", "line", "channel", "run", "point", "reading", "calibration", "sample"]

# Field names a manifest may fill, by the part of the session that holds them. Times of the start are one target,
# `started_at_local`; what else is known about them follows from it, from `utc_offset_s`, and from the archive.
TARGETS: dict[Level, frozenset[str]] = {
    "session": frozenset(
        {"kind", "started_at_local", "utc_offset_s"}
        | {name for part in (RecordKeeping, Building, Conditions, Reported) for name in part.model_fields}
    ),
    "gauge": frozenset(Gauge.model_fields) - {"gauge_id"},
    "fan": frozenset(Fan.model_fields) - {"fan_id"},
    "line": frozenset(ReferenceLine.model_fields) - {"line_id"},
    "channel": frozenset({"averaging_s"}) & frozenset(Channel.model_fields),
    "run": frozenset(Run.model_fields) - {"run_number", "points"},
    "point": frozenset(Point.model_fields) - {"fan_readings"},
    "reading": frozenset(FanReading.model_fields) - {"fan_id", "calibration_index"},
    "calibration": frozenset(FanCalibration.model_fields) - {"fan_id"},
    "sample": frozenset(
        {"time_s", "envelope_pressure_pa", "fan_pressure_pa", "flow_m3_h"}
        | {name for name in Conditions.model_fields if QUANTITIES[name].ucum not in ("", "1")}
    ),
}
# Pressures that have a direction: a manifest says how their sign was recorded, and how that is known.
SIGNED = frozenset(
    {"envelope_pressure_pa", "target_pressure_pa"}
    | {f"baseline_{when}_{what}_pa" for when in ("before", "after") for what in ("pressure", "positive", "negative")}
)
DATES = frozenset({"started_at_local", "gauge_calibrated_on", "fan_calibrated_on"})
TRUTHS = frozenset({"reported_exponent_assumed", "baseline_removed", "dropped"})

TIME_PARTS = {"%Y": "YYYY", "%m": "MM", "%d": "DD", "%H": "hh", "%I": "hh", "%M": "mm", "%S": "ss"}
TIME_PARTS |= {"%p": "AM/PM", "%z": "±hh:mm"}


class Mapping(Form):
    """What becomes of one column or key."""

    name: Word = Field(description="header name or key, as the file writes it, without outer blanks")
    to: Word | None = Field(None, description="field of the session that takes the value")
    ignore: Words | None = Field(None, description="why the value is left out of the session")
    unit: Word | None = Field(None, description="unit the values are in, where the file does not write it by itself")
    unit_from: Literal["unit_row", "unit_cell", "text"] | None = Field(
        None, description="where the file writes the unit; stands above that of the block"
    )
    sign: Literal["as_recorded", "reversed"] | None = Field(
        None, description="as_recorded: the file writes inside minus outside; reversed: outside minus inside"
    )
    sign_reason: Words | None = Field(None, description="how the sign convention is known")
    codes: dict[Word, str | bool] | None = Field(
        None, description="closed list: word of the file to value of the field"
    )
    beaufort: dict[Word, tuple[Beaufort, Beaufort]] | None = Field(
        None, description="closed list: word of the file to lowest and highest Beaufort force"
    )
    word_ends_at: Word | None = Field(None, description="mark that ends the word looked up in `codes`")
    whole_text_to: Word | None = Field(None, description="text field that takes the whole text beside the value")
    time_format: Word | None = Field(None, description="form of a date, clock or offset: %Y %m %d %H %I %M %S %p %z")
    gauge: Word | None = Field(None, description="number of the gauge the field belongs to; 1 where not given")
    fan: Word | None = Field(None, description="number of the fan the field belongs to; 1 where not given")
    line: Word | None = Field(None, description="name of the reference line the field or channel belongs to")
    channel: Word | None = Field(None, description="name of the channel; `every` for a key that holds for all")
    also: dict[Word, str | float | bool] | None = Field(None, description="fields set wherever this one has a value")
    also_reason: Words | None = Field(None, description="how it is known that they go with it")

    @model_validator(mode="after")
    def _whole(self) -> Self:
        for fault in self._faults():
            raise ValueError(f"'{self.name}': {fault}")
        return self

    def _faults(self) -> Iterator[str]:
        said = self.model_fields_set - {"name", "required", "filled"}
        if self.to is None:
            if said - {"ignore"}:
                yield f"without `to`, {', '.join(sorted(said - {'ignore'}))} have no meaning"
            return
        if self.ignore is not None:
            yield "is both mapped and ignored"
        if self.to not in QUANTITIES or not any(self.to in names for names in TARGETS.values()):
            yield f"no field that a manifest can fill is called {self.to!r}"
            return
        yield from self._unit_faults(self.to)
        yield from self._list_faults(self.to)
        if (self.to in SIGNED) != (self.sign is not None) or (self.sign is None) != (self.sign_reason is None):
            yield "signed pressures, and only they, need `sign` and `sign_reason`"
        if (self.to in DATES or self.to == "utc_offset_s") != (self.time_format is not None):
            yield "dates, clocks and offsets, and only they, need `time_format`"
        elif self.time_format is not None:
            parts = re.findall(r"%.", self.time_format)
            if not parts or len(set(parts)) < len(parts) or not set(parts) <= TIME_PARTS.keys():
                yield f"`time_format` takes each of {' '.join(TIME_PARTS)} once at most"
        if (self.also is None) != (self.also_reason is None):
            yield "`also` and `also_reason` go together"
        for name in self.also or ():
            if not any(name in names for names in TARGETS.values()):
                yield f"`also`: no field that a manifest can fill is called {name!r}"

    def _unit_faults(self, to: str) -> Iterator[str]:
        if self.unit is not None and self.unit_from is not None:
            yield "give `unit` or `unit_from`, not both"
        if self.unit is not None:
            try:
                conversion(self.unit, to)
            except UnknownUnitError:
                yield f"the unit {self.unit!r} is not in the table of units"
            except WrongDimensionError:
                yield f"the unit {self.unit!r} does not measure {to}"

    def _list_faults(self, to: str) -> Iterator[str]:
        needs_codes = to in CHOICES or to in TRUTHS
        if needs_codes != (self.codes is not None):
            yield "fields with a closed list of words, and only they, need `codes`"
        for value in (self.codes or {}).values():
            if isinstance(value, bool) != (to in TRUTHS) or (to in CHOICES and value not in CHOICES[to]):
                allowed = ", ".join(CHOICES.get(to, ("true", "false")))
                yield f"`codes`: {value!r} is none of {allowed}"
        if self.word_ends_at is not None and self.codes is None:
            yield "`word_ends_at` goes with `codes`"
        if self.beaufort is not None and to != "wind_as_recorded":
            yield '`beaufort` goes with `to = "wind_as_recorded"`'
        for word, (low, high) in (self.beaufort or {}).items():
            if low > high:
                yield f"`beaufort`: the band of {word!r} runs backwards"


class Key(Mapping):
    """One key of an entries block."""

    required: bool = Field(False, description="whether a file without this key is at fault")


class Column(Mapping):
    """One column of a table block."""

    required: bool = Field(True, description="whether a table without this column is at fault")
    filled: bool = Field(False, description="whether a row without a value here is at fault, as a row of totals is")


class EntriesBlock(Form):
    """Rows that each hold a key, a value and perhaps a unit."""

    kind: Literal["entries"]
    sections: tuple[Word, ...] = Field((), description="sections it stands in; none: before the first section")
    directions: dict[Word, Direction] | None = Field(
        None, description="section to direction: each such section is one run, and the keys belong to it"
    )
    unit_from: Literal["unit_cell", "text"] | None = Field(None, description="where the file writes units")
    part: Word | None = Field(None, description="what people call it where the file gives it no heading")
    keys: tuple[Key, ...] = ()

    @property
    def fields(self) -> tuple[Key, ...]:
        """Its keys."""
        return self.keys

    @property
    def levels(self) -> tuple[Level, ...]:
        """Parts of the session its keys may fill."""
        return ("session", "gauge", "fan", "line", "channel") if self.directions is None else ("run",)


class TableBlock(Form):
    """A header, perhaps a row of units, and rows."""

    kind: Literal["table"]
    sections: tuple[Word, ...] = Field((), description="sections it stands in; none: outside sections")
    directions: dict[Word, Direction] | None = Field(
        None, description="section to direction: each such section is one run, and the points belong to it"
    )
    header_names: tuple[Word, ...] = Field(min_length=1, description="names by which the header row is known")
    unit_row: bool = Field(False, description="whether the row below the header holds units")
    each_row: Literal["session", "point", "sample", "fan_calibration"]
    required: bool = Field(False, description="whether a file without this table is at fault")
    part: Word | None = Field(None, description="what people call it where the file gives it no heading")
    columns: tuple[Column, ...] = ()

    @property
    def fields(self) -> tuple[Column, ...]:
        """Its columns."""
        return self.columns

    @property
    def unit_from(self) -> Literal["unit_row"] | None:
        """Where the file writes the units of its columns."""
        return "unit_row" if self.unit_row else None

    @property
    def levels(self) -> tuple[Level, ...]:
        """Parts of the session its columns may fill."""
        levels: dict[str, tuple[Level, ...]] = {
            "session": ("session", "gauge", "fan", "line", "run", "point", "reading"),
            "point": ("point", "reading"),
            "sample": ("sample",),
            "fan_calibration": ("calibration",),
        }
        return levels[self.each_row]


Block = EntriesBlock | TableBlock


class Recognise(Form):
    """What a file's first part must hold. All clauses must hold; the file's name plays no part."""

    header_names: tuple[Word, ...] = Field((), description="names that must stand together in one row, in any order")
    rows: tuple[tuple[str, ...], ...] = Field((), description="rows that must occur, cell by cell")
    first_cells: tuple[Word, ...] = Field((), description="cells that must each begin some row")

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if not (self.header_names or self.rows or self.first_cells):
            raise ValueError("give header_names, rows or first_cells: a plugin without them would take any file")
        return self


class Layout(Form):
    """How the text of a file is cut into rows, cells and numbers."""

    encodings: tuple[Literal["utf-8", "cp1252"], ...] = Field(min_length=1, description="tried strictly, in this order")
    delimiter: Literal[",", ";", "\t", "|"]
    decimal_mark: Literal[".", ","]
    thousands_mark: Literal[".", ",", "'", " "] | None = Field(None, description="blank stands for no-break blanks too")
    missing: tuple[str, ...] = Field(("",), description="cells that mean: no value")
    over_range: tuple[Word, ...] = Field((), description="cells that mean: outside what the instrument can show")
    section_marks: tuple[Word, Word] | None = Field(None, description="what stands before and after a section's name")
    key_prefix: Word | None = Field(None, description="mark at the start of rows that hold a key and a value")
    key_separator: Word | None = Field(None, description="mark between key and value; none: the delimiter")

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.decimal_mark == self.thousands_mark:
            raise ValueError("decimal_mark and thousands_mark are the same")
        if self.delimiter in (self.decimal_mark, self.thousands_mark):
            raise ValueError("the delimiter cannot be the decimal mark or the thousands mark too")
        if set(self.missing) & set(self.over_range):
            raise ValueError("a mark is listed both as missing and as over range")
        return self


class Constant(Form):
    """A value of the whole session that the layout stands for; a value the file gives goes before it."""

    to: Word
    value: str | float | bool
    reason: Words

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.to not in TARGETS["session"] or self.to in DATES:
            raise ValueError(f"no constant can fill {self.to!r}")
        if self.to in CHOICES and self.value not in CHOICES[self.to]:
            raise ValueError(f"{self.to} is one of {', '.join(CHOICES[self.to])}")
        return self


class Manifest(Form):
    """A plugin's whole manifest."""

    manifest_version: Literal[1]
    id: Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=80)]
    version: Annotated[str, StringConstraints(pattern=r"^\d+\.\d+\.\d+$")]
    title: Words
    languages: tuple[Word, ...] = Field(min_length=1, description="languages of the headers, in words")
    units: Words = Field(description="system of units, in words")
    recognise: Recognise
    layout: Layout
    constant: tuple[Constant, ...] = ()
    block: tuple[Annotated[Block, Field(discriminator="kind")], ...]

    @cached_property
    def fingerprint(self) -> str:
        """Hash of what the manifest means: equal whatever its comments, order of keys, title and version."""
        meaning = self.model_dump(mode="json", exclude={"version", "title", "languages", "units"})
        text = json.dumps(meaning, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()[:16]

    @model_validator(mode="after")
    def _whole(self) -> Self:
        for number, block in enumerate(self.block):
            for fault in _block_faults(block, self.layout):
                raise ValueError(f"block.{number}: {fault}")
        if not self.block:
            raise ValueError("a manifest has at least one block")
        rows = {block.each_row for block in self.block if isinstance(block, TableBlock)}
        if "session" in rows and len(self.block) > 1:
            raise ValueError("a table whose rows are sessions is the only block of its file")
        fills = {field.to for block in self.block for field in block.fields} | {part.to for part in self.constant}
        if "kind" not in fills:
            raise ValueError("nothing says the kind of the session: map it or give a constant")
        return self


def _block_faults(block: Block, layout: Layout) -> Iterator[str]:
    if block.sections and layout.section_marks is None:
        yield "sections need layout.section_marks"
    if block.directions is not None and set(block.directions) != set(block.sections):
        yield "directions name each of the block's sections"
    seen: set[tuple[str | None, ...]] = set()
    names: set[str] = set()
    for field in block.fields:
        if field.name in names:
            yield f"'{field.name}' is listed twice"
        names.add(field.name)
        if field.to is None:
            continue
        level = level_of(block, field.to)
        if level is None:
            yield f"'{field.name}': a block like this cannot fill {field.to}"
        for name in (*(field.also or ()), *filter(None, [field.whole_text_to])):
            if level_of(block, name) is None:
                yield f"'{field.name}': a block like this cannot fill {name}"
        if is_number(field.to) and QUANTITIES[field.to].ucum != "1" and unit_source(block, field) is None:
            yield f"'{field.name}': {field.to} needs `unit`, or `unit_from` or a unit row"
        if level == "sample" and (field.channel is None) != (field.to == "time_s"):
            yield f"'{field.name}': every column of a log but time_s needs `channel`"
        part = field.time_format if field.to == "started_at_local" else None
        place = (field.to, field.gauge, field.fan, field.line, field.channel, part)
        if place in seen:
            yield f"'{field.name}': {field.to} is filled twice"
        seen.add(place)
    if (
        isinstance(block, TableBlock)
        and block.each_row == "sample"
        and ("time_s",) not in {(f.to,) for f in block.fields}
    ):
        yield "a log needs a column for time_s"


def level_of(block: Block, name: str) -> Level | None:
    """Part of the session in which a block's rows fill the field, or None where they cannot."""
    return next((level for level in block.levels if name in TARGETS[level]), None)


def is_number(name: str) -> bool:
    """Whether the field holds a number, and not text, a date or a truth value."""
    return QUANTITIES[name].ucum != "" and name != "utc_offset_s"


def unit_source(block: Block, field: Mapping) -> Literal["manifest", "unit_row", "unit_cell", "text"] | None:
    """Who says the unit of a field's values."""
    return "manifest" if field.unit is not None else field.unit_from or block.unit_from


def load(text: bytes, file: str) -> Manifest:
    """Read a manifest. Raises PluginError with one problem for each fault, placed by its path in the file."""
    try:
        document = tomllib.loads(text.decode("utf-8"))
        return Manifest.model_validate(document)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise PluginError(
            Problem("manifest-text", Place(file), str(error), "TOML in UTF-8", "Correct the file.", blocks="file")
        ) from None
    except ValidationError as error:
        raise PluginError(*validation_problems(error, file)) from None
