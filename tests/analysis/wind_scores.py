"""Scores of the wind-affected flags over families of the judge, whose twins without wind tell the truth."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import judged
import numpy as np
from numpy.typing import NDArray
from scipy.stats import rankdata

from interchange.analysis import chain, robust, wind, wind_noise
from tests.judge import Simulated, WindChange, blind, family
from tests.judge import judged as simulated

Array = NDArray[np.float64]
FLAGS = {"flow_50": "flow_50_affected", "low": "low_affected"}
MULTI, SINGLE = ("multi-point", "both directions"), ("single point",)
STILL, WINDY = ("still",), ("breezy", "windy")
TOGETHER = 200  # tests simulated and scored at once; bounds the memory
# records in which wind can no longer be told from the fault: twins that share the fault compare two wrecks
WRECKED = ("swapped channels", "wrong sign", "line disconnected", "blocked line")


@dataclass(frozen=True)
class Seen:
    """A test as a crew has it, what it was drawn as, and what wind did to it: as recorded, and without its fault."""

    test: Simulated | None
    arrangement: str
    wind: str
    crew: str
    fault: str | None
    change: WindChange
    without_fault: WindChange


def tests_of(
    count: int, seed: int, crews: Sequence[Any], fault_share: float = 0.0, winds: Sequence[Any] = WINDY
) -> Iterator[list[Seen]]:
    members = family(count, seed, winds=winds, crews=crews, fault_share=fault_share, keep_trace=True, mast=True)
    for start in range(0, count, TOGETHER):
        some = members[start : start + TOGETHER]
        each = simulated([member.case for member in some], seed * 1000 + start)
        yield [
            Seen(blind(j.test), m.arrangement, m.wind, m.crew, m.fault, j.effects.wind, j.effects.wind_without_faults)
            for m, j in zip(some, each, strict=True)
        ]


def evenly(count: int, seed: int, crews: Sequence[Any], fault_share: float = 0.0) -> Iterator[list[Seen]]:
    """As many breezy and windy tests as asked for and half as many still ones: a third of each wind class."""
    yield from tests_of(count, seed, crews, fault_share)
    yield from tests_of(count // 2, seed + 10, crews, fault_share, STILL)


def columns(seen: Sequence[Seen], kind: str) -> dict[str, NDArray[Any]]:
    """Columns of `wind.affected` by what is recorded: traces, averages, points (no spreads), weather beside those."""
    tests = [one.test for one in seen if one.test is not None]
    batch = judged.to_batch(tests, spreads=kind in ("traces", "averages"))
    if kind == "weather":
        batch = replace(batch, session={**batch.session, **weather(tests)})
    work = judged.worked(batch)
    traced = judged.traced(tests) if kind == "traces" else None
    defaults = wind_noise.told_by_the_rest(batch)
    estimate = robust.estimate(work, reference_temperature_c=20.0, defaults=defaults, traced=traced)
    result = chain.leakage(work).session
    return dict(wind.affected(work, result, estimate, defaults=defaults, traced=traced).session)


def weather(tests: Sequence[Simulated]) -> dict[str, NDArray[Any]]:
    """What a station says: the mean of its record; distance as the source."""
    records = [test.weather for test in tests]
    words = judged.CHOICES["wind_source"]
    return {
        "wind_speed_m_s": np.array([r.speed_m_s.mean() for r in records if r]),
        "wind_averaging_s": np.array([float(r.averaging_s) for r in records if r]),
        "wind_height_m": np.array([r.height_m for r in records if r]),
        "wind_source": np.array([words.index("station") for _ in records], dtype=np.int8),
    }


def area_under_curve(score: Array, truth: NDArray[np.bool_]) -> float:
    """Chance that an affected test has the higher score of two."""
    affected, other = int(truth.sum()), int((~truth).sum())
    return float((rankdata(score)[truth].sum() - affected * (affected + 1) / 2) / (affected * other))


def row(probability: Array, truth: NDArray[np.bool_], recall: float = 0.8) -> dict[str, Any]:
    """Scores of one cell; those that need affected tests only where there are 10 of them."""
    found: dict[str, Any] = {"tests": int(truth.size), "affected": int(truth.sum())}
    told = np.isfinite(probability)
    found["cannot_tell"] = int((~told).sum())
    probability, truth = probability[told], truth[told]
    flagged = probability > 0.5
    if flagged.sum() >= 10:
        found["of_100_flagged_off"] = round(100 * float(truth[flagged].mean()))
    if truth.sum() >= 10:
        limit = np.quantile(probability[truth], 1 - recall)
        found["auc"] = round(area_under_curve(probability, truth), 4)
        found["false_alarms_percent_at_80_recall"] = round(100 * float((probability[~truth] >= limit).mean()), 2)
        found["found_percent_of_affected"] = round(100 * float(flagged[truth].mean()))
    return found


def deciles(probability: Array, truth: NDArray[np.bool_]) -> list[dict[str, float]]:
    """Tests, mean probability and share affected [%] in each tenth of the probability's range."""
    found = []
    for low in np.arange(10) / 10:
        here = (probability >= low) & ((probability < low + 0.1) | (low == 0.9))
        if here.any():
            mean, share = 100 * float(probability[here].mean()), 100 * float(truth[here].mean())
            found.append({"tests": int(here.sum()), "said": round(mean, 1), "affected": round(share, 1)})
    return found


def coverage(found: dict[str, NDArray[Any]], pressure: int, change: Array) -> float:
    """Share [%] of tests whose true error the 90 % interval holds, of those that have one."""
    low, high = (found[f"wind_error_{pressure}_{end}_percent"] for end in ("low", "high"))
    told = np.isfinite(low) & np.isfinite(high)
    return round(100 * float(((low <= change) & (change <= high))[told].mean()), 1)


def truth_of(seen: Sequence[Seen], flag: str, strict: bool) -> NDArray[np.bool_]:
    """Truth of wind-affected: without the fault; or, strictly, with it where it leaves a record to compare."""
    return np.array(
        [
            bool(getattr(one.change if strict and one.fault not in WRECKED else one.without_fault, FLAGS[flag]))
            for one in seen
        ]
    )


def table(seen: Sequence[Seen], found: dict[str, NDArray[Any]]) -> dict[str, Any]:
    """Rows of a family: by flag over all, by arrangement and crew; deciles; coverage."""
    result: dict[str, Any] = {}
    groups = {"all": np.ones(len(seen), np.bool_)}
    for part in ("arrangement", "crew"):
        labels = np.array([getattr(one, part) for one in seen])
        groups |= {str(label): labels == label for label in np.unique(labels)}
    groups["breezy and windy"] = np.array([one.wind in WINDY for one in seen])
    faulty = any(one.fault for one in seen)
    for flag in FLAGS:
        probability = found[f"wind_{flag}_probability"]
        truth = truth_of(seen, flag, strict=False)
        rows = {name: row(probability[here], truth[here]) for name, here in groups.items()}
        if faulty:
            rows["all, fault counted in both"] = row(probability, truth_of(seen, flag, strict=True))
        rows["all, by the noise alone"] = row(found[f"wind_{flag}_by_noise_probability"], truth)
        told = np.isfinite(probability)
        result[flag] = {"rows": rows, "deciles": deciles(probability[told], truth[told])}
    if not faulty:
        for pressure in (50, 10):
            change = np.array([getattr(one.change, f"flow_{pressure}_percent") for one in seen])
            result[f"coverage_{pressure}_percent"] = {
                name: coverage({k: v[here] for k, v in found.items()}, pressure, change[here])
                for name, here in groups.items()
            }
    return result


def scored(chunks: Iterator[list[Seen]], *kinds: str) -> dict[str, Any]:
    """Tables by what is recorded; traces are let go of chunk by chunk."""
    kept: list[Seen] = []
    parts: dict[str, list[dict[str, NDArray[Any]]]] = {kind: [] for kind in kinds}
    for chunk in chunks:
        for kind in kinds:
            parts[kind].append(columns(chunk, kind))
        kept += [replace(one, test=None) for one in chunk]
    joined = {
        kind: {name: np.concatenate([part[name] for part in each]) for name in each[0]} for kind, each in parts.items()
    }
    return {kind: table(kept, each) for kind, each in joined.items()}
