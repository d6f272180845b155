"""Writes the samples of the shipped plugins."""

from __future__ import annotations

import json
from pathlib import Path

from interchange.demo import (
    sample_across,
    sample_both,
    sample_companions,
    sample_fan_pressure,
    sample_full_record,
    sample_ledger,
    sample_log,
    sample_records,
    sample_sheet,
    sample_tall,
    sample_test_log,
    sample_transposed,
    sample_weather,
)
from interchange.files import write_atomically

_MAKERS = (
    sample_sheet,
    sample_records,
    sample_full_record,
    sample_log,
    sample_across,
    sample_test_log,
    sample_tall,
    sample_fan_pressure,
    sample_both,
    sample_transposed,
    sample_ledger,
    sample_weather,
    sample_companions,
)


def samples(plugins_folder: Path) -> None:
    """Write NAME.csv, companions, NAME.expected.json into each plugin's samples folder: the same bytes each time."""
    for sample in (sample for maker in _MAKERS for sample in maker.made()):
        folder = plugins_folder / sample.plugin_id / "samples"
        folder.mkdir(parents=True, exist_ok=True)
        expected = {"sessions": sample.sessions, "traces": sample.traces, "problems": sorted(sample.problems)}
        write_atomically(folder / f"{sample.name}.csv", sample.content)
        for role, content in sample.companions.items():
            write_atomically(folder / f"{sample.name}-{role}.csv", content)
        text = json.dumps(expected, ensure_ascii=False, indent=2) + "\n"
        write_atomically(folder / f"{sample.name}.expected.json", text.encode())
