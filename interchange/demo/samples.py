"""Writes the samples of the shipped plugins."""

from __future__ import annotations

import json
from pathlib import Path

from interchange.demo import sample_log, sample_records, sample_sheet
from interchange.files import write_atomically


def samples(plugins_folder: Path) -> None:
    """Write NAME.csv and NAME.expected.json into each plugin's samples folder, the same bytes each time."""
    for sample in (*sample_sheet.made(), *sample_records.made(), *sample_log.made()):
        folder = plugins_folder / sample.plugin_id / "samples"
        folder.mkdir(parents=True, exist_ok=True)
        expected = {"sessions": sample.sessions, "traces": sample.traces, "problems": sorted(sample.problems)}
        write_atomically(folder / f"{sample.name}.csv", sample.content)
        text = json.dumps(expected, ensure_ascii=False, indent=2) + "\n"
        write_atomically(folder / f"{sample.name}.expected.json", text.encode())
