"""The plugins' samples as the tests read them: text and expectation of each, by name."""

from __future__ import annotations

import json

from interchange.resources import shipped

PLUGINS = shipped("plugins")
OURS = {
    "both-directions-one-table/samples/in-turn",
    "both-directions-one-table/samples/two-fans",
    "hourly-weather-archive/samples/a-winter-day",
    "hourly-weather-archive/samples/few-codes",
    "one-row-a-test/samples/eight-tests",
    "one-row-points-across/samples/a-street",
    "one-row-points-across/samples/holes",
    "points-fan-pressure-only/samples/both-directions",
    "points-fan-pressure-only/samples/calibration-elsewhere",
    "points-fan-pressure-only/samples/gale",
    "points-fan-pressure-only/samples/sparse",
    "points-with-companions/samples/little",
    "points-with-companions/samples/one-point-checked",
    "points-with-companions/samples/three-files",
    "points-with-companions/samples/two-files",
    "results-ledger/samples/one-page",
    "results-ledger/samples/two-pages",
    "sectioned-points/samples/all-that-can-be-said",
    "sectioned-points/samples/both-directions",
    "sectioned-points/samples/little",
    "sectioned-points/samples/much-not-noted",
    "sectioned-points/samples/other-words",
    "station-weather-log/samples/hourly",
    "station-weather-log/samples/ten-minutes",
    "tall-log-with-legend/samples/other-words",
    "tall-log-with-legend/samples/two-lines-and-wind",
    "transposed-table/samples/four-tests",
    "transposed-table/samples/rows-in-another-order",
    "wide-log-one-second/samples/few-keys",
    "wide-log-one-second/samples/keys-in-another-order",
    "wide-log-one-second/samples/marks",
    "wide-log-one-second/samples/one-pressure",
    "wide-log-two-lines/samples/half-a-minute",
}
COMPANIONS = {
    "points-with-companions/samples/little-baseline",
    "points-with-companions/samples/one-point-checked-baseline",
    "points-with-companions/samples/one-point-checked-weather",
    "points-with-companions/samples/three-files-baseline",
    "points-with-companions/samples/three-files-weather",
    "points-with-companions/samples/two-files-baseline",
}
CP1252 = {
    "points-fan-pressure-only/samples/both-directions",
    "points-fan-pressure-only/samples/gale",
    "results-ledger/samples/one-page",
    "sectioned-points/samples/all-that-can-be-said",
    "sectioned-points/samples/much-not-noted",
    "transposed-table/samples/four-tests",
}


def expected(name: str) -> dict:
    return json.loads((PLUGINS / f"{name}.expected.json").read_text(encoding="utf-8"))


def text_of(name: str) -> str:
    return (PLUGINS / f"{name}.csv").read_text(encoding="cp1252" if name in CP1252 else "utf-8")


def values_of(name: str) -> dict:
    return {trace["channel_id"]: trace["values"] for trace in expected(name)["traces"]}
