"""Ratios within one run: both sides in one process, alternating, so that a busy machine disturbs both alike."""

from __future__ import annotations

import json
import platform
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

FIGURES = Path(__file__).parent / "figures"


def seconds(sides: dict[str, Callable[[], Any]], rounds: int) -> dict[str, list[float]]:
    """Wall seconds of each side, `rounds` times in turn after one round that does not count."""
    taken: dict[str, list[float]] = {name: [] for name in sides}
    for count in range(rounds + 1):
        for name, run in sides.items():
            start = time.perf_counter()
            run()
            if count:
                taken[name].append(time.perf_counter() - start)
    return taken


def report(name: str, what: str, taken: dict[str, list[float]], base: str, **facts: Any) -> dict[str, float]:
    """Median ratio of each side to the base side, round by round; written to figures/NAME.json and returned."""
    ratios = {side: [a / b for a, b in zip(values, taken[base], strict=True)] for side, values in taken.items()}
    medians = {side: round(statistics.median(values), 2) for side, values in ratios.items() if side != base}
    FIGURES.mkdir(exist_ok=True)
    (FIGURES / f"{name}.json").write_text(
        json.dumps(
            {
                "what": what,
                "base": base,
                "median_ratio_to_base": medians,
                "range_of_ratio": {
                    side: [round(min(v), 2), round(max(v), 2)] for side, v in ratios.items() if side != base
                },
                "median_seconds": {side: round(statistics.median(v), 4) for side, v in taken.items()},
                "python": platform.python_version(),
                **facts,
            },
            indent=1,
        )
        + "\n"
    )
    return medians
