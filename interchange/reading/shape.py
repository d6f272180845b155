"""What must be there: the tables, columns and keys without which a file is not what its plugin takes it for."""

from __future__ import annotations

from interchange.errors import Place, Problem
from interchange.model.manifest import EntriesBlock, Manifest, TableBlock
from interchange.reading.collect import Collector
from interchange.reading.extract import Entry, Extract, Table

_NAMES_SHOWN = 40
_WHOLE = "Export the test again, whole."


def check(extract: Extract, manifest: Manifest, found: Collector) -> None:
    """Report what an extract lacks, and keys that it holds twice."""
    _Checker(extract, manifest, found).check()


class _Checker:
    def __init__(self, extract: Extract, manifest: Manifest, found: Collector) -> None:
        self.extract, self.manifest, self.found, self.file = extract, manifest, found, extract.source.name

    def check(self) -> None:
        for number, block in enumerate(self.manifest.block):
            if isinstance(block, EntriesBlock):
                self._check_twice(number, block)
                continue
            for table in self._tables():
                if table.block == number:
                    self._check_columns(table, block)
        items: list[Entry | Table] = [*self._entries(), *self._tables()]
        for test in sorted({item.test for item in items} - {0}) or [0]:
            rows = [item.row if isinstance(item, Entry) else item.header_row for item in items if item.test == test]
            self._check_test(test, min(rows) if test else None)

    def _check_test(self, test: int, row: int | None) -> None:
        """Report what one test of the file lacks; `row` is where it begins, where there are several."""
        tables = [table for table in self._tables() if table.test in (0, test)]
        entries = [entry for entry in self._entries() if entry.test in (0, test)]
        for number, block in enumerate(self.manifest.block):
            if isinstance(block, EntriesBlock):
                present = {entry.key for entry in entries if entry.block == number}
                for key in block.keys:
                    if key.required and key.name not in present:
                        place, expected = Place(self.file, row, key.name), f"the key '{key.name}'"
                        self._fault("key-missing", place, f"no key '{key.name}'", expected, _WHOLE)
            elif (
                block.required
                and not any(table.block == number for table in tables)
                and (block.file is None or block.file in self.extract.companions)
            ):
                self._missing_table(row, None, block)
        for section in dict.fromkeys(entry.section for entry in entries if entry.file == self.file):
            blocks = [b for b in self.manifest.block if isinstance(b, TableBlock) and b.directions]
            for block in blocks:
                if section in block.sections and not any(table.section == section for table in tables):
                    self._missing_table(row, section, block)

    def _tables(self) -> list[Table]:
        return [*self.extract.tables, *(table for one in self.extract.companions.values() for table in one.tables)]

    def _entries(self) -> list[Entry]:
        return [*self.extract.entries, *(entry for one in self.extract.companions.values() for entry in one.entries)]

    def _missing_table(self, row: int | None, section: str | None, block: TableBlock) -> None:
        names = ", ".join(f"'{name}'" for name in block.header_names)
        within = f" in section [{section}]" if section is not None else ""
        found, expected = f"no table{within}", f"a table whose header holds {names}"
        self._fault("table-missing", Place(self.file, row), found, expected, _WHOLE)

    def _check_columns(self, table: Table, block: TableBlock) -> None:
        for field in block.fields:
            if field.required and field.name not in table.header:
                names = ", ".join(f"'{name}'" for name in table.header[:_NAMES_SHOWN])
                self._fault(
                    "column-missing",
                    Place(table.file, table.header_row, field.name),
                    f"a header that holds {names}",
                    f"the column '{field.name}'",
                    "Export with this column, or correct its name in the header.",
                )

    def _check_twice(self, number: int, block: EntriesBlock) -> None:
        rows: dict[tuple[int, str | None, str], int] = {}
        listed = {key.name for key in block.keys if key.to is not None}
        for entry in self._entries():
            if entry.block != number or entry.key not in listed:
                continue
            first = rows.setdefault((entry.test, entry.section, entry.key), entry.row)
            if first != entry.row:
                found, expected = f"the key a second time, after row {first}", "each key once"
                cure = "Remove the one that does not hold; give each test a file of its own."
                self._fault("key-twice", Place(entry.file, entry.row, entry.key), found, expected, cure)

    def _fault(self, code: str, place: Place, found: str, expected: str, cure: str) -> None:
        self.found.add(Problem(code, place, found, expected, cure, blocks="file"))
