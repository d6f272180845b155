"""The manifest of a plugin (`plugin.toml`), version 1: how a layout is known, cut into blocks and mapped to a session.

A fixed vocabulary without expressions and without conditions. Every column and key of a file is mapped (`to`),
ignored by name with a reason (`ignore`), or kept and reported (neither, or not listed at all).
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, ValidationError, model_validator

from interchange.errors import Place, PluginError, Problem
from interchange.model.base import Form
from interchange.model.document import validation_problems
from interchange.model.mapping import (
    DATES,
    TARGETS,
    Column,
    Key,
    Level,
    Mapping,
    Ordinal,
    Word,
    Words,
    choices_of,
    is_number,
)
from interchange.model.values import Direction
from interchange.quantities import CHOICES, QUANTITIES

NUMBERED = "{n}"


class EntriesBlock(Form):
    """Rows that each hold a key, a value and perhaps a unit."""

    kind: Literal["entries"]
    file: Word | None = Field(None, description="companion that holds it; none: the file itself")
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
        if self.directions is not None:
            return ("run",)
        return ("session", "opening", "gauge", "fan", "line", "channel", "run", "other")


class TableBlock(Form):
    """A header, perhaps rows of units below it, and rows."""

    kind: Literal["table"]
    file: Word | None = Field(None, description="companion that holds it; none: the file itself")
    sections: tuple[Word, ...] = Field((), description="sections it stands in; none: outside sections")
    directions: dict[Word, Direction] | None = Field(
        None, description="section to direction: each such section is one run, and the points belong to it"
    )
    header_names: tuple[Word, ...] = Field(min_length=1, description="names by which the header row is known")
    header_rows: Literal[1, 2] = Field(
        1, description="2: names of the second row stand under those of the first and are written 'first / second'"
    )
    header_unit_marks: tuple[Word, Word] | None = Field(
        None, description="what stands before and after a unit within a name of the header"
    )
    below_header: tuple[Literal["units", "ignored"], ...] = Field((), description="rows between header and values")
    each_row: Literal["session", "point", "sample", "fan_calibration", "channel"]
    session_by: tuple[Word, ...] = Field((), description="columns whose texts tell the tests of one table apart")
    uneven: bool = Field(False, description="whether the steps of a log may differ, as where records are left out")
    numbered: tuple[Ordinal, Ordinal] | None = Field(
        None, description="first and last number that `{n}` in the names of columns stands for: a point each"
    )
    required: bool = Field(False, description="whether a file without this table is at fault")
    part: Word | None = Field(None, description="what people call it where the file gives it no heading")
    columns: tuple[Column, ...] = ()

    @cached_property
    def fields(self) -> tuple[Column, ...]:
        """Its columns; those counted across are written out, of which the first alone is required."""
        if self.numbered is None:
            return self.columns
        first, last = self.numbered
        numbered = (column for column in self.columns if NUMBERED in column.name)
        return (
            *(column for column in self.columns if NUMBERED not in column.name),
            *(
                column.model_copy(
                    update={
                        "name": column.name.replace(NUMBERED, str(number)),
                        "point": number,
                        "required": column.required and number == first,
                    }
                )
                for column in numbered
                for number in range(first, last + 1)
            ),
        )

    @property
    def unit_from(self) -> Literal["unit_row", "header"] | None:
        """Where the file writes the units of its columns."""
        if "units" in self.below_header:
            return "unit_row"
        return "header" if self.header_unit_marks is not None else None

    @property
    def tall(self) -> bool:
        """Whether each row of a log holds the value of one channel, which it names."""
        return any(column.to == "channel_key" for column in self.columns) and self.each_row == "sample"

    @property
    def levels(self) -> tuple[Level, ...]:
        """Parts of the session its columns may fill."""
        levels: dict[str, tuple[Level, ...]] = {
            "session": ("session", "opening", "gauge", "fan", "line", "run", "point", "reading", "other"),
            "point": ("row", "point", "reading", "run", "session", "opening", "gauge", "fan", "line"),
            "sample": ("sample", "session"),
            "fan_calibration": ("calibration", "calibration_point", "fan"),
            "channel": ("legend",),
        }
        return levels[self.each_row]


Block = EntriesBlock | TableBlock


class Companion(Form):
    """A further file of the same test: the blocks that name it lie there, in the same layout."""

    name: Annotated[str, StringConstraints(pattern=r"^[a-z]+$", max_length=40)]
    stem_ends: Word = Field(description="its name is that of the file with this before the suffix")
    first_cells: tuple[Word, ...] = Field(min_length=1, description="cells that must each begin some row of it")
    required: bool = Field(False, description="whether a delivery without it is at fault")


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

    encodings: tuple[Literal["utf-8", "cp1252", "cp850", "latin-1"], ...] = Field(
        min_length=1,
        description="tried strictly, in this order; writing takes the first. UTF-16 is known by its own mark",
    )
    delimiter: Literal[",", ";", "\t", "|", "blanks"] = Field(description="blanks: any run of blanks or tabs")
    decimal_mark: Literal[".", ","]
    thousands_mark: Literal[".", ",", "'", " "] | None = Field(None, description="blank stands for no-break blanks too")
    missing: tuple[str, ...] = Field(("",), description="cells that mean: no value")
    over_range: tuple[Word, ...] = Field((), description="cells that mean: outside what the instrument can show")
    section_marks: tuple[Word, Word] | None = Field(None, description="what stands before and after a section's name")
    key_prefix: Word | None = Field(None, description="mark at the start of rows that hold a key and a value")
    key_separator: Word | None = Field(None, description="mark between key and value; none: the delimiter")
    month_names: Annotated[tuple[Word, ...], Field(min_length=12, max_length=12)] | None = Field(
        None, description="names of the months from January on, for %b"
    )
    titles: bool = Field(False, description="whether rows before the first header are titles, kept as they are")
    footer_marks: tuple[Word, ...] = Field((), description="cells that begin totals and other rows that hold no test")
    header_repeats: bool = Field(False, description="whether the header may come again, as on every printed page")
    transposed: bool = Field(False, description="whether each column holds what a row does elsewhere")
    line_end: Literal["lf", "crlf"] = Field("lf", description="how rows end where such a file is written")
    byte_order_mark: bool = Field(False, description="whether a file that is written begins with the mark of UTF-8")

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.decimal_mark == self.thousands_mark:
            raise ValueError("decimal_mark and thousands_mark are the same")
        if self.delimiter == self.decimal_mark:
            raise ValueError("the delimiter cannot be the decimal mark too")
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
        if self.to in CHOICES and self.value not in choices_of(self.to):
            raise ValueError(f"{self.to} is one of {', '.join(choices_of(self.to))}")
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
    session_starts: Word | None = Field(None, description="section whose heading begins a further test")
    constant: tuple[Constant, ...] = ()
    companion: tuple[Companion, ...] = ()
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
        if "session" in rows and (len(rows) > 1 or sum(isinstance(block, TableBlock) for block in self.block) > 1):
            raise ValueError("a table whose rows are sessions is the only table of its file")
        if self.session_starts is not None and not any(self.session_starts in block.sections for block in self.block):
            raise ValueError(f"session_starts: no block stands in a section '{self.session_starts}'")
        named = {companion.name for companion in self.companion}
        if {block.file for block in self.block} - {None} != named or len(named) < len(self.companion):
            raise ValueError("each companion has a name of its own and at least one block, and each `file` names one")
        if named and (self.session_starts is not None or "session" in rows):
            raise ValueError("only a file of one test has companions")
        fills = {field.to for block in self.block for field in block.fields} | {part.to for part in self.constant}
        if "kind" not in fills:
            raise ValueError("nothing says the kind of the session: map it or give a constant")
        return self


def _block_faults(block: Block, layout: Layout) -> Iterator[str]:
    if block.sections and layout.section_marks is None:
        yield "sections need layout.section_marks"
    if block.directions is not None and set(block.directions) != set(block.sections):
        yield "directions name each of the block's sections"
    seen: set[tuple[object, ...]] = set()
    names: set[tuple[str, str | None, int | None]] = set()
    for field in block.fields:
        ignored_too = any(name == field.name and None in (to, field.to) for name, to, _ in names)
        if (field.name, field.to, field.part) in names or ignored_too:
            yield f"'{field.name}' is listed twice"
        names.add((field.name, field.to, field.part))
        if field.to is None:
            continue
        level = level_of(block, field.to)
        if level is None:
            yield f"'{field.name}': a block like this cannot fill {field.to}"
        for name in (*(field.also or ()), *filter(None, [field.whole_text_to])):
            if level_of(block, name) is None:
                yield f"'{field.name}': a block like this cannot fill {name}"
        has_unit = unit_source(block, field) is not None or field.time_format is not None
        if is_number(field.to) and QUANTITIES[field.to].ucum != "1" and not has_unit:
            yield f"'{field.name}': {field.to} needs `unit`, or `unit_from` or a unit row"
        if field.time_format is not None and "%b" in field.time_format and layout.month_names is None:
            yield f"'{field.name}': %b needs layout.month_names"
        part = field.time_format if field.to in ("started_at_local", "ended_at_local", "sampled_at") else None
        place = (field.to, part, *(getattr(field, name) for name in _OWNERS))
        if place in seen:
            yield f"'{field.name}': {field.to} is filled twice"
        seen.add(place)
    if isinstance(block, TableBlock):
        yield from _table_faults(block, layout)


_OWNERS = ("opening", "gauge", "fan", "line", "channel", "other", "point")


def _table_faults(block: TableBlock, layout: Layout) -> Iterator[str]:
    targets = [column.to for column in block.columns]
    if any(NUMBERED in column.name for column in block.columns) != (block.numbered is not None):
        yield "`numbered` and names with {n} go together"
    if block.numbered is not None and (block.each_row != "session" or block.numbered[0] > block.numbered[1]):
        yield "`numbered` counts points up, in rows that are tests"
    if block.session_by and (
        block.each_row != "point" or not set(block.session_by) <= {column.name for column in block.columns}
    ):
        yield "`session_by` names columns of a table of points"
    if layout.transposed and (block.each_row != "session" or block.header_rows > 1 or block.below_header):
        yield "a transposed table holds a test in each column, and one column of names"
    if block.each_row == "channel" and not {"channel_key", "quantity"} <= set(targets):
        yield "a legend needs columns for channel_key and quantity"
    if block.uneven and block.each_row != "sample":
        yield "`uneven` goes with logs"
    if block.each_row == "sample":
        yield from _log_faults(block, targets)


def _log_faults(block: TableBlock, targets: Sequence[str | None]) -> Iterator[str]:
    if not {"time_s", "sampled_at"} & set(targets):
        yield "a log needs a column for time_s or sampled_at"
    if block.tall != ("channel_value" in targets):
        yield "channel_key and channel_value go together"
    for column in block.columns:
        sampled = column.to in TARGETS["sample"] and column.to not in _OF_THE_ROW
        if not sampled and column.channel is not None:
            yield f"'{column.name}': {column.to} belongs to no channel"
        if sampled and column.channel is None:
            yield f"'{column.name}': every column of a log that holds values needs `channel`"
    channels = [column.channel for column in block.columns if column.channel is not None]
    for name in sorted({name for name in channels if channels.count(name) > 1}):
        yield f"channel '{name}' is filled by several columns"


_OF_THE_ROW = ("time_s", "sampled_at", "channel_key", "channel_value")


def level_of(block: Block, name: str) -> Level | None:
    """Part of the session in which a block's rows fill the field, or None where they cannot."""
    return next((level for level in block.levels if name in TARGETS[level]), None)


def unit_source(block: Block, field: Mapping) -> Literal["manifest", "unit_row", "unit_cell", "header", "text"] | None:
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
