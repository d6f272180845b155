"""Whether a plugin reads its own samples as it says it should.

A sample is `samples/NAME.csv`; beside it, `samples/NAME.expected.json` holds
`{"sessions": [...], "traces": [...], "problems": [...]}`: session documents without `session_id` and `source` but with
their `source_place`; traces with `source_place`, `channel_id`, `start_s`, `interval_s` and `values`; and the sorted
codes of the problems.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from interchange.files import Source
from interchange.model.document import as_document
from interchange.model.question import Import
from interchange.reading.door import read_source
from interchange.reading.registry import Plugin

EXPECTED = ".expected.json"
TOLERANCE = 1e-12  # conversion of units rounds in the last digits


@dataclass(frozen=True, slots=True)
class Nothing:
    """Stands in a difference for what is not there at all."""

    def __str__(self) -> str:
        return "nothing"


@dataclass(frozen=True, slots=True)
class Difference:
    """One place in which a sample turned out otherwise; `path` is that in the expected file, as `sessions.0.kind`."""

    path: str
    expected: Any
    found: Any


@dataclass(frozen=True, slots=True)
class SampleResult:
    """What became of one sample; without differences it is as expected."""

    name: str
    differences: tuple[Difference, ...]


def check(plugin: Plugin, plugins: Sequence[Plugin]) -> tuple[SampleResult, ...]:
    """Read a plugin's samples (among all plugins, as an import would) and compare them with what is expected.

    A sample without its expected file, an expected file without its sample, and a plugin without samples are
    differences too.
    """
    folder = plugin.folder / "samples"
    files = sorted(path for path in folder.iterdir() if not path.name.startswith(".")) if folder.is_dir() else []
    ends = tuple(companion.stem_ends for companion in plugin.manifest.companion)
    samples = {
        path.stem: path
        for path in files
        if not path.name.endswith(EXPECTED) and not (ends and path.stem.endswith(ends))
    }
    expected = {path.name.removesuffix(EXPECTED): path for path in files if path.name.endswith(EXPECTED)}
    if not samples and not expected:
        return (SampleResult("samples", (Difference("samples", "at least one sample", Nothing()),)),)
    return tuple(
        SampleResult(name, tuple(_check_one(name, samples.get(name), expected.get(name), plugin, plugins)))
        for name in sorted(samples.keys() | expected.keys())
    )


def _check_one(
    name: str, sample: Path | None, expected: Path | None, plugin: Plugin, plugins: Sequence[Plugin]
) -> Iterator[Difference]:
    if sample is None:
        yield Difference("sample", f"{name}.csv beside {name}{EXPECTED}", Nothing())
        return
    if expected is None:
        yield Difference("expected", f"{name}{EXPECTED} beside {sample.name}", Nothing())
        return
    try:
        wanted = json.loads(expected.read_text(encoding="utf-8"))
    except ValueError as error:
        yield Difference("expected", "a JSON document in UTF-8", str(error))
        return
    beside = {
        companion.name: sample.with_name(f"{sample.stem}{companion.stem_ends}{sample.suffix}")
        for companion in plugin.manifest.companion
    }
    files = {role: _source(path) for role, path in beside.items() if path.exists()}
    outcome = read_source(_source(sample), plugins, files=files)
    if outcome.plugin_id not in (plugin.id, None):
        yield Difference("plugin", plugin.id, outcome.plugin_id)
    for question in outcome.mapped.questions:
        yield Difference("questions", Nothing(), question.subject)
    yield from _differences("", wanted, found_document(outcome))


def _source(path: Path) -> Source:
    data = path.read_bytes()
    return Source(path.name, hashlib.sha256(data).hexdigest(), len(data), data)


def found_document(outcome: Import) -> dict[str, Any]:
    """What an import turned into, in the form of an expected file."""
    places = {session.session_id: session.source.source_place for session in outcome.mapped.sessions}
    sessions = []
    for session in outcome.mapped.sessions:
        document = as_document(session)
        del document["session_id"], document["source"]
        sessions.append({**document, "source_place": session.source.source_place})
    traces = [
        {
            "source_place": places[trace.session_id],
            "channel_id": trace.channel_id,
            "start_s": trace.start_s,
            "interval_s": trace.interval_s,
            "values": trace.values.to_pylist(),
        }
        for trace in outcome.mapped.traces
    ]
    codes = sorted(problem.code for problem in outcome.mapped.problems)
    return {"sessions": sessions, "traces": traces, "problems": codes}


def _differences(path: str, expected: Any, found: Any) -> Iterator[Difference]:
    if isinstance(expected, dict) and isinstance(found, dict):
        for name in expected | found:
            inner = f"{path}.{name}" if path else name
            yield from _differences(inner, expected.get(name, Nothing()), found.get(name, Nothing()))
    elif isinstance(expected, list) and isinstance(found, list):
        for index in range(max(len(expected), len(found))):
            pair = (part[index] if index < len(part) else Nothing() for part in (expected, found))
            yield from _differences(f"{path}.{index}", *pair)
    elif not _same(expected, found):
        yield Difference(path, expected, found)


def _same(expected: Any, found: Any) -> bool:
    numbers = (int, float)
    if isinstance(expected, bool) or isinstance(found, bool) or not isinstance(expected, numbers):
        return type(expected) is type(found) and bool(expected == found)
    return isinstance(found, numbers) and math.isclose(expected, found, rel_tol=TOLERANCE, abs_tol=TOLERANCE)
