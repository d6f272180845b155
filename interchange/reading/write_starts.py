"""The texts for the start and the end of a test, in the columns and keys that take them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise

from interchange.model.manifest import Layout, Manifest
from interchange.model.mapping import TIME_COUNTS, Mapping
from interchange.reading import times
from interchange.reading.write_parts import Test
from interchange.reading.write_times import time_text

_DAY, _CLOCK = ("%d", "days since", "epoch"), ("%H", "%I", "days since", "epoch")
NO_OFFSET = "the layout needs the offset from UTC, and none is known"
OWN_FORM = "the layout writes times in a form of its own"


def start_texts(test: Test, manifest: Manifest) -> dict[int, str]:
    """Texts by the id of the mapping; the words of the source, cut to its columns, where they say the same."""
    found: dict[int, str] = {}
    for name in ("started_at_local", "ended_at_local"):
        mappings = [one for block in manifest.block for one in block.fields if one.to == name]
        texts = _texts(test, name, sorted(mappings, key=lambda one: not _has(one, _DAY)), manifest.layout)
        found |= {id(mapping): text for mapping, text in texts}
    return found


def _texts(test: Test, name: str, mappings: Sequence[Mapping], layout: Layout) -> list[tuple[Mapping, str]]:
    group = test.document["time"]
    (when, offset_s), recorded = test.clock(name), group.get(name.replace("_local", "_as_recorded"))
    if when is None and group.get(name) is not None:
        test.why[f"time.{name}"] = NO_OFFSET
        return []
    if when is None:
        known = [one for one in mappings if recorded is not None and _reads(recorded, one, layout) is not None]
        return [(one, recorded) for one in known[:1]]
    if group.get("time_quality") == "date_only" and not all(_has(one, _CLOCK) for one in mappings):
        mappings = [one for one in mappings if not _has(one, _CLOCK)]
    made = [(one, text) for one in mappings if (text := time_text(one.time_format or "", when, offset_s, layout))]
    if len(made) < len(mappings):
        test.why[f"time.{name}"] = NO_OFFSET
    elif when.second and not any(_has(one, ("%S", *TIME_COUNTS)) for one in mappings):
        test.why[f"time.{name}"] = "the layout writes no seconds"
    kept = _cut(recorded, made, layout) if recorded is not None else None
    if kept is None and mappings:
        test.why[f"time.{name.replace('_local', '_as_recorded')}"] = OWN_FORM
    return made if kept is None else kept


def _has(mapping: Mapping, parts: Sequence[str]) -> bool:
    return any(part in (mapping.time_format or "") for part in parts)


def _cut(recorded: str, made: Sequence[tuple[Mapping, str]], layout: Layout) -> list[tuple[Mapping, str]] | None:
    """The words of the source parted at blanks so that each mapping reads its part as it would the text made."""
    for pieces in _pieces(recorded.split(" "), len(made)):
        pairs = list(zip(made, pieces, strict=True))
        if all(_reads(piece, mapping, layout) == _reads(text, mapping, layout) for (mapping, text), piece in pairs):
            return [(mapping, piece) for (mapping, _), piece in pairs]
    return None


def _pieces(words: Sequence[str], count: int) -> Iterator[list[str]]:
    for cuts in combinations(range(1, len(words)), count - 1) if count else ():
        ends = (0, *cuts, len(words))
        yield [" ".join(words[start:end]) for start, end in pairwise(ends)]


def _reads(text: str, mapping: Mapping, layout: Layout) -> times.Moment | None:
    try:
        return times.moment(text, mapping.time_format or "", layout.month_names)
    except (times.TimeFormError, times.NoSuchTimeError):
        return None
