"""Tests that are probably one and the same: sent again in other bytes, or with the readings of another test."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import likeness as kernel
from interchange.analysis.likeness import Agreement, Circumstances, Keys, Readings
from interchange.archive.snapshot import Snapshot
from interchange.archive.store import Store
from interchange.model.compared import differences
from interchange.model.session import Session
from interchange.quantities import CHOICES
from interchange.report.likeness import brought_again_words, likeness_words, what_to_do
from interchange.table import Row, Table, counted

_COLUMNS = (
    *("likeness", "alike_as", "job_id", "stage", "agreeing_reading_count", "reading_count", "what_differs"),
    *("first_source_name", "first_sender", "first_imported_at_utc"),
    *("second_source_name", "second_sender", "second_imported_at_utc", "second_delivery"),
    *("what_to_do", "first_session_id", "second_session_id"),
)
_PAGE = ("likeness", "job_id", "in_words", "what_differs", "what_to_do")
_MOST_DIFFERENCES = 6
MOST_DAYS = 31  # between tests of a crew whose few readings are copies; a judgement, no source

# Tests in the order in which they came; codes are the same where texts are, but for case and blanks about them.
_TESTS = """
with taken as (
    select session_id, min(import_number) as number
    from (select unnest(session_ids) as session_id, import_number from journal where import_state = 'imported')
    group by 1
),
tests as (
    select s.*, row_number() over (order by t.number, s.session_id) - 1 as number
    from sessions s join taken t using (session_id)
    where s.kind in ('single_point', 'two_point', 'multi_point', 'monitoring', 'summary')
)
"""
_CODE = "case when {0} is null then -1 else dense_rank() over (order by lower(trim({0}))) end"
_OF_TESTS = f"""
{_TESTS}
select session_id, kind = 'summary' as summary, number,
       {_CODE.format("job_id")} as job, {_CODE.format("site_id")} as site,
       {_CODE.format("coalesce(crew, contractor)")} as crew,
       coalesce(list_position({list(CHOICES["stage"])}, stage), -1) as stage,
       coalesce(epoch(started_at_local), -1)::double as start_s,
       coalesce(time_quality not in ('date_only', 'upload_time'), true) and started_at_local is not null as clock,
       reported_flow_m3_h, reported_flow_pressure_pa, reported_air_change_50_per_h, reported_natural_air_change_per_h,
       reported_coefficient_m3_h, reported_exponent, reported_leakage_area_m2,
       coalesce(trim(supersedes), '') as supersedes, coalesce(trim(job_id), '') as job_id
from tests order by number
"""
_OF_READINGS = f"""
{_TESTS}
select number, abs(r.envelope_pressure_pa) as pressure_pa, r.{{amount}} as amount
from tests join fan_readings r using (session_id)
where r.{{amount}} > 0 and r.envelope_pressure_pa is not null
order by number
"""
_OF_RUNS = f"""
{_TESTS}
select number, sum(hash(abs(baseline_before_pressure_pa), abs(baseline_after_pressure_pa)) % 1000000007)::double as rest
from tests join runs using (session_id)
where baseline_before_pressure_pa is not null or baseline_after_pressure_pa is not null
group by 1
"""
_OF_CHANNELS = f"""
{_TESTS}
select number, sum(hash(quantity, sample_count, missing_count) % 1000000007)::double as rest
from tests join channels using (session_id) group by 1
"""
_REPORTED = (
    *("reported_flow_m3_h", "reported_flow_pressure_pa", "reported_air_change_50_per_h"),
    *("reported_natural_air_change_per_h", "reported_coefficient_m3_h", "reported_exponent"),
    "reported_leakage_area_m2",
)
_CAME = """
select session_id, source_name, sender, imported_at_utc, delivery
from (select unnest(session_ids) as session_id, * exclude (session_ids) from journal where import_state = 'imported')
where list_contains(?, session_id)
qualify row_number() over (partition by session_id order by import_number) = 1
"""

# Amounts that readings may hold, and how far two of one reading may lie apart by rounding: to 1 cfm and to 1 m3/h, or
# to 0.1 Pa twice.
_AMOUNTS = {"flow_m3_h": 1.4, "fan_pressure_pa": 0.11}

Columns = dict[str, NDArray[Any]]


@dataclass(frozen=True, slots=True)
class Alike:
    """Two tests that are alike, the one that came first before the other; codes and counts as the kernel gives them."""

    first: str
    second: str
    likeness: str
    alike_as: str
    agreeing: int
    fewer: int


@dataclass(frozen=True, slots=True)
class Duplicates:
    """A row for each pair, and the same with fewer columns for a page."""

    table: Table
    page: Table
    pairs: tuple[Alike, ...]


def duplicates(root: Path, version: int | None = None, *, whole: bool = False) -> Duplicates:
    """Pairs of current tests that are probably the same test, or hold the readings of another one.

    Pairs of which one says that it supersedes the other are settled, and are only among them with `whole`. Nothing is
    changed. Raises ArchiveError where the archive cannot be read.
    """
    snapshot = Store.open(root).snapshot(version)
    found, settled = find_alike(snapshot)
    pairs = [*found, *settled] if whole else found
    left_out = []
    if settled and not whole:
        left_out.append(f"{counted(len(settled), 'pair')} settled: one says that it supersedes the other (--all)")
    notes = [_summary(pairs)]
    if pairs:
        notes.append(
            "Likeness is no proof: it can be chance, and the record that came later need not be the right one."
        )
    rows = _rows(snapshot, pairs)
    page = [(row[0], row[2], words, *(row[_COLUMNS.index(name)] for name in _PAGE[3:])) for row, words in rows]
    return Duplicates(
        Table(_COLUMNS, [row for row, _ in rows], left_out, notes), Table(_PAGE, page, left_out, notes), tuple(pairs)
    )


def find_alike(snapshot: Snapshot) -> tuple[list[Alike], list[Alike]]:
    """Pairs of current tests that are alike, and those that are settled, the surest first."""
    tests, readings, rest = _loaded(snapshot)
    pairs = _candidates(tests, readings, rest) if tests["number"].size else np.zeros((0, 2), dtype=np.int64)
    found = _agreement(readings, pairs)
    sure, alike_as = kernel.judge(found, _circumstances(tests, rest, pairs, found))
    unsettled: list[Alike] = []
    settled: list[Alike] = []
    order = np.lexsort((pairs[:, 1], pairs[:, 0], sure))
    for at in order[sure[order] >= 0]:
        first, second = ({name: values[place] for name, values in tests.items()} for place in pairs[at])
        words = (CHOICES["likeness"][sure[at]], CHOICES["alike_as"][alike_as[at]])
        one = Alike(
            str(first["session_id"]), str(second["session_id"]), *words, int(found.agreeing[at]), int(found.fewer[at])
        )
        (settled if _replaces(first, second) or _replaces(second, first) else unsettled).append(one)
    return unsettled, settled


def _loaded(snapshot: Snapshot) -> tuple[Columns, list[Readings], Keys]:
    """Tests in the order in which they came, their readings by flow and by fan pressure, and what else they hold."""
    connection = snapshot.sql(("sessions", "runs", "channels", "fan_readings", "journal"))

    def columns(sql: str) -> Columns:
        return {name: np.ma.getdata(values) for name, values in connection.execute(sql).fetchnumpy().items()}

    tests = columns(_OF_TESTS)
    readings = [_readings(columns(_OF_READINGS.format(amount=name)), tests) for name in _AMOUNTS]
    rest = _rest(tests, columns(_OF_RUNS), columns(_OF_CHANNELS))
    connection.close()
    return tests, readings, rest


def _agreement(readings: Sequence[Readings], pairs: NDArray[np.int64]) -> Agreement:
    """By flow or by fan pressure, whichever shows more; a test may hold both."""
    by_flow, by_fan = (
        kernel.agreement(one, pairs, amount=least) for one, least in zip(readings, _AMOUNTS.values(), strict=True)
    )
    better = (by_fan.agreeing > by_flow.agreeing) | (by_flow.fewer == 0)
    return Agreement(np.where(better, by_fan.agreeing, by_flow.agreeing), np.where(better, by_fan.fewer, by_flow.fewer))


def _replaces(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Whether a test says that it takes the place of another one, by its id or by a job that both are of."""
    name = one["supersedes"]
    return name != "" and name in (other["session_id"], other["job_id"])


def alike_words(root: Path, session_ids: Collection[str]) -> list[str]:
    """A sentence for each sort of likeness that tests given have with other tests: what a delivery brought again."""
    wanted = set(session_ids)
    found, _ = find_alike(Store.open(root).snapshot()) if wanted else ([], [])
    pairs = [one for one in found if one.first in wanted or one.second in wanted]
    return brought_again_words({word: sum(one.alike_as == word for one in pairs) for word in CHOICES["alike_as"]})


def _readings(found: Columns, tests: Columns) -> Readings:
    offsets = np.searchsorted(found["number"], np.arange(tests["number"].size + 1))
    return Readings(offsets, found["pressure_pa"].astype(np.float64), found["amount"].astype(np.float64))


def _rest(tests: Columns, runs: Columns, channels: Columns) -> Keys:
    """A key of what else a test holds: baselines, else channels, of summaries what they report; 0 for nothing."""
    rest = np.zeros(tests["number"].size, dtype=np.uint64)
    for found in (channels, runs):
        rest[found["number"]] = kernel.keys(found["rest"])
    reported = [np.where(np.isfinite(tests[name].astype(np.float64)), tests[name], 0.0) for name in _REPORTED]
    told = np.any([values != 0.0 for values in reported], axis=0) & tests["summary"].astype(bool)
    rest[told] = kernel.keys(reported[0], *(np.round(values, 6) for values in reported[1:]))[told]
    return rest


def _candidates(tests: Columns, readings: Sequence[Readings], rest: Keys) -> NDArray[np.int64]:
    """Pairs worth comparing: of one job or house, with readings alike, or with a few readings just the same."""
    found = [kernel.fingerprinted(one) for one in readings]
    number = tests["number"].astype(np.int64)
    for name in ("job", "site"):
        known = tests[name] >= 0
        found.append(kernel.paired(kernel.keys(tests[name])[known], number[known]))
    counts = [np.diff(one.offsets) for one in readings]
    bare = (counts[0] == 0) & (counts[1] == 0) & (rest != 0) & tests["clock"].astype(bool)  # at the very same start
    found.append(kernel.paired(kernel.keys(rest, tests["start_s"])[bare], number[bare]))
    crew = tests["crew"].astype(np.float64)
    for one, count in zip(readings, counts, strict=True):
        few = np.flatnonzero((count > 0) & (count < 3) & (rest != 0) & (crew >= 0))
        first, last = one.offsets[few], one.offsets[few + 1] - 1
        values = [np.round(part[place], 4) for part in (one.pressure_pa, one.amount) for place in (first, last)]
        found.append(kernel.paired(kernel.keys(crew[few], rest[few].astype(np.float64), *values), few))
    return kernel.distinct(np.concatenate(found))


def _circumstances(tests: Columns, rest: Keys, pairs: NDArray[np.int64], found: Agreement) -> Circumstances:
    def compared(values: NDArray[Any], known: NDArray[np.bool_]) -> NDArray[np.int8]:
        one, other = pairs.T
        return np.where(known[one] & known[other], values[one] == values[other], -1).astype(np.int8)

    job, site = (compared(tests[name], tests[name] >= 0) for name in ("job", "site"))
    start = tests["start_s"].astype(np.float64)
    dated, clock = start >= 0, tests["clock"].astype(bool)
    near = np.abs(np.diff(start[pairs], axis=1)[:, 0]) <= MOST_DAYS * 86_400.0
    same_rest = compared(rest, rest != 0)
    few_apart = (found.agreeing < 3) & ~near  # a few readings of another season are chance
    return Circumstances(
        place=np.where(job >= 0, job, site).astype(np.int8),
        stage=compared(tests["stage"], tests["stage"] >= 0),
        minute=compared(np.floor(start / 60.0), dated & clock),
        day=compared(np.floor(start / 86_400.0), dated),
        rest=np.where(few_apart & (found.fewer > 0), 0, same_rest).astype(np.int8),
    )


def _rows(snapshot: Snapshot, pairs: Sequence[Alike]) -> list[tuple[Row, str]]:
    if not pairs:
        return []
    ids = sorted({name for pair in pairs for name in (pair.first, pair.second)})
    sessions = {session.session_id: session for session in snapshot.sessions(session_ids=ids)}
    connection = snapshot.sql(("journal",))
    came = {row[0]: row[1:] for row in connection.execute(_CAME, [ids]).fetchall()}
    connection.close()
    return [_row(pair, sessions[pair.first], sessions[pair.second], came) for pair in pairs]


def _row(pair: Alike, first: Session, second: Session, came: dict[str, tuple[Any, ...]]) -> tuple[Row, str]:
    unlike = [str(one) for one in differences(first, second)]
    more = [f"and {len(unlike) - _MOST_DIFFERENCES} more"] if len(unlike) > _MOST_DIFFERENCES else []
    differs = "; ".join([*unlike[:_MOST_DIFFERENCES], *more]) or "nothing that is recorded"
    one, other = came[pair.first], came[pair.second]
    row = (
        *(pair.likeness, pair.alike_as, second.record.job_id, second.record.stage, pair.agreeing, pair.fewer, differs),
        *one[:3],
        *other,
        what_to_do(pair.alike_as, pair.first, pair.second, other[3]),
        *(pair.first, pair.second),
    )
    counts = (pair.agreeing, pair.fewer)
    words = likeness_words(pair.likeness, pair.alike_as, first.record.job_id, one[:2], other[:2], counts)
    return row, words


def _summary(pairs: Sequence[Alike]) -> str:
    if not pairs:
        return "No two tests are alike."
    counts = [(word, sum(pair.likeness == word for pair in pairs)) for word in CHOICES["likeness"]]
    return f"{counted(len(pairs), 'pair')}: " + ", ".join(f"{count} {word}" for word, count in counts if count)
