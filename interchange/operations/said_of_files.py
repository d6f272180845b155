"""Job, house and stage of files that do not say so: from their names by a pattern, or from a covering list."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from interchange.archive.snapshot import Snapshot
from interchange.errors import Place, Problem, SourceError, UsageError
from interchange.model.covering import SAID, CoveringRow
from interchange.model.question import Import, Mapped
from interchange.model.register import Row, read_rows
from interchange.model.session import Session
from interchange.model.source import AnswerUsed
from interchange.quantities import CHOICES

_FIELDS = {"job": "job_id", "site": "site_id", "stage": "stage"}
NAME, LIST = "name of the file", "covering list"
_BY = {by: {name: f"{name} by the {by}" for name in SAID} for by in (NAME, LIST)}  # ids under which it is on record


@dataclass(frozen=True, slots=True)
class Told:
    """What is said of a file, and by what; or what stands against it."""

    by: str
    values: Mapping[str, str]
    problem: Problem | None = None


Says = Callable[[str], Told]


def by_pattern(pattern: str) -> Says:
    """What names of files say by a pattern such as `{job}-{stage}.csv`, held against as many last parts of the path.

    Raises UsageError for a pattern with other placeholders, one of them twice, or neither job nor house.
    """
    parts = re.split(r"(\{[^{}]*\})", pattern)
    names = [part[1:-1] for part in parts if part.startswith("{")]
    known = [name for name in names if name in _FIELDS]
    if {*names} - {*_FIELDS, "any"} or len({*known}) < len(known) or not {"job", "site"} & {*known}:
        expected = "each of {job}, {site}, {stage} at most once, job or house among them, and {any}"
        cure = "Write the pattern so: '{job}-{stage}.csv'."
        raise UsageError(Problem("pattern", Place("--job-from"), f"'{pattern}'", expected, cure))
    lazy, greedy = (
        re.compile("".join(_matching(part, rest) if part.startswith("{") else re.escape(part) for part in parts))
        for rest in ("+?", "+")
    )

    stages = f" with a stage ({', '.join(CHOICES['stage'])})" if "stage" in known else ""

    def says(file: str) -> Told:
        tail = "/".join(file.split("/")[-1 - pattern.count("/") :])
        found = [matched.groupdict() if (matched := one.fullmatch(tail)) else None for one in (lazy, greedy)]
        shortest, longest = found
        if shortest is None or longest is None:
            return Told(NAME, {}, _unread(file, f"the name '{tail}'", f"a name of the form '{pattern}'{stages}"))
        if shortest != longest:
            both = " or ".join(repr(one["job"] if "job" in one else one["site"]) for one in (shortest, longest))
            return Told(
                NAME, {}, _unread(file, f"the name '{tail}', which gives {both}", f"one reading of '{pattern}'")
            )
        return Told(NAME, {_FIELDS[name]: text.lower() if name == "stage" else text for name, text in shortest.items()})

    return says


def _matching(placeholder: str, repeated: str) -> str:
    name = placeholder[1:-1]
    if name == "stage":
        return f"(?P<stage>(?i:{'|'.join(CHOICES['stage'])}))"
    return f"[^/]{repeated}" if name == "any" else f"(?P<{name}>[^/]{repeated})"


def by_list(path: Path, files: Iterable[str]) -> tuple[Says, list[Problem]]:
    """What a covering list says of the files of a delivery, and a problem for each line of it that no file answers to.

    A line names a file by the end of its path. Raises SourceError where it is no such list.
    """
    rows: list[tuple[Place, CoveringRow]] = []
    for place, row in rows_of(CoveringRow, "a covering list", path):
        assert isinstance(row, CoveringRow)
        rows.append((place, row))
    by_end: dict[str, list[str]] = {}
    for file in files:
        for end in ends_of(file):
            by_end.setdefault(end, []).append(file)
    lines: dict[str, list[CoveringRow]] = {}
    problems = []
    for place, row in rows:
        meant = by_end.get(row.file, [])
        if len(meant) != 1:
            found = f"'{row.file}', the name of {'no file' if not meant else f'{len(meant)} files'}"
            cure = "Name one file by as much of its path as tells it from others, or send the file."
            problems.append(Problem("list-file", place, found, "one file of the delivery", cure, blocks="cell"))
        else:
            lines.setdefault(meant[0], []).append(row)

    def says(file: str) -> Told:
        own = lines.get(file, [])
        if len(own) != 1:
            found = "no line of the covering list" if not own else f"{len(own)} lines of the covering list"
            return Told(LIST, {}, _unread(file, found, f"one line of {path.name} for the file"))
        return Told(LIST, {name: value for name in SAID if (value := getattr(own[0], name)) is not None})

    return says, problems


def ends_of(file: str) -> Iterator[str]:
    """A file's path, and what is left of it as its folders are taken away from the front."""
    parts = file.split("/")
    return ("/".join(parts[start:]) for start in range(len(parts)))


def rows_of(form: type[Row], name: str, path: Path) -> list[tuple[Place, Row]]:
    """Rows of a CSV file that a sender made. Raises SourceError where it cannot be read or is no such table."""
    try:
        data = path.read_bytes()
    except OSError as error:
        found, cure = error.strerror or str(error), "Give the name of a file that you may read."
        raise SourceError(Problem("file-unreadable", Place(str(path)), found, "a CSV file", cure)) from None
    return read_rows(form, name, data, path.name)


def with_said(taken: Import, says: Says) -> Import:
    """An import with what is said of its file, where its tests do not say it themselves; what they say stands.

    Where a test would be left without a job or house because nothing clear is said, the file is refused.
    """
    sessions = taken.mapped.sessions
    if not sessions:
        return taken
    told = says(taken.source.name)
    lacking = [one for one in sessions if one.record.job_id is None and one.record.site_id is None]
    if told.problem is None and told.by == NAME and len(lacking) > 1:
        found = f"{len(lacking)} tests without a job in one file"
        told = replace(told, problem=_unread(taken.source.name, found, "one test, if the name is to say its job"))
    if told.problem is not None:
        if not lacking:
            return taken
        return replace(taken, state="refused", mapped=Mapped(problems=(*taken.mapped.problems, told.problem)))
    return _filled(taken, {_BY[told.by][name]: (name, value) for name, value in told.values.items()})


def with_said_before(before: Snapshot, imports: Sequence[Import]) -> list[Import]:
    """Imports with what was said of the same bytes when they were taken in before: it holds until it is said anew."""
    known = before.taken_in({one.source.sha256 for one in imports if one.mapped.sessions}).to_pylist()
    of_source = {name: row["source_sha256"] for row in known for name in row["session_ids"]}
    said: dict[str, dict[str, tuple[str, str]]] = {}
    by_id = {words: name for by in _BY.values() for name, words in by.items()}
    for session in before.sessions(session_ids=of_source) if of_source else ():
        for one in session.source.answers_used:
            if one.question_id in by_id:
                own = said.setdefault(of_source[session.session_id], {})
                own[one.question_id] = (by_id[one.question_id], one.answer_value)
    return [_filled(one, said[one.source.sha256]) if one.source.sha256 in said else one for one in imports]


def _filled(taken: Import, values: Mapping[str, tuple[str, str]]) -> Import:
    problems = list(taken.mapped.problems)
    sessions = tuple(_with(session, values, problems) for session in taken.mapped.sessions)
    return replace(taken, mapped=replace(taken.mapped, sessions=sessions, problems=tuple(problems)))


def _with(session: Session, values: Mapping[str, tuple[str, str]], problems: list[Problem]) -> Session:
    new: dict[str, str] = {}
    used = list(session.source.answers_used)
    for words, (name, value) in values.items():
        own = new.get(name, getattr(session.record, name))
        if own is None:
            new[name] = value
            used.append(AnswerUsed(question_id=words, answer_value=value))
        elif own != value:
            place = Place(session.source.source_name, column=name)
            cure = "What the file says was taken. Ask the sender; `amend` corrects it."
            problems.append(Problem("said-otherwise", place, f"'{own}'", f"'{value}', {words}", cure, blocks="cell"))
    if not new:
        return session
    return session.model_copy(
        update={
            "record": session.record.model_copy(update=new),
            "source": session.source.model_copy(update={"answers_used": tuple(used)}),
        }
    )


def _unread(file: str, found: str, expected: str) -> Problem:
    cure = "Rename the file, or name its job in a covering list (--jobs-list), and import it again."
    return Problem("job-unknown", Place(file), found, expected, cure, blocks="file")
