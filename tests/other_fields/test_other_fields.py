"""Files of other trades, read where their packages carry them, against what those packages' own readers make of them.

No file is copied into this repository. Each case names the package with its version, the file and the licence of the
package. Units and missing marks are those of the manifests in `plugins`, which take them from the documentation named
in the case; conversions to the archive's units are done here by hand.
"""

from __future__ import annotations

import csv
import hashlib
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib.metadata import distribution
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from great_tables.data import gibraltar
from pvlib.iotools import read_tmy3
from vega_datasets import data as vega

from interchange.files import Source
from interchange.model.manifest import TableBlock
from interchange.model.question import Import, Trace
from interchange.reading.door import read_source
from interchange.reading.registry import load_plugins

REPOSITORY = Path(__file__).resolve().parents[2]
PLUGINS = load_plugins([Path(__file__).parent / "plugins", REPOSITORY / "plugins"])


@dataclass(frozen=True)
class Held:
    """What another reader finds in a file: stamps by the clock of the file, values in the archive's units."""

    stamps: Sequence[datetime]
    channels: dict[str, Sequence[float]]
    offset: timedelta | None = None


def of_package(package: str, version: str, path: str) -> Path:
    found = distribution(package)
    assert found.version == version
    return Path(str(found.locate_file(path)))


def read(path: Path) -> Import:
    data = path.read_bytes()
    return read_source(Source(path.name, hashlib.sha256(data).hexdigest(), len(data), data), PLUGINS.plugins)


def celsius(fahrenheit: pd.Series) -> list[float]:
    return [(value - 32.0) * 5.0 / 9.0 for value in fahrenheit]


def clock(stamps: pd.Series | pd.DatetimeIndex) -> list[datetime]:
    return [stamp.to_pydatetime().replace(tzinfo=None) for stamp in stamps]


SEATTLE_HOURS = ("vega_datasets", "0.9.0", "vega_datasets/_data/seattle-temps.csv")  # MIT


def seattle_hours(path: Path) -> Held:
    """The package's reader. Degrees Fahrenheit (documentation of the data set, from memory; the values say so too)."""
    held = vega.seattle_temps()
    return Held(clock(held["date"]), {"air": celsius(held["temp"])})


SAN_FRANCISCO_HOURS = ("vega_datasets", "0.9.0", "vega_datasets/_data/sf-temps.csv")  # MIT


def san_francisco_hours(path: Path) -> Held:
    """The package's reader. Degrees Fahrenheit (documentation of the data set, from memory; the values say so too)."""
    held = vega.sf_temps()
    return Held(clock(held["date"]), {"air": celsius(held["temp"])})


SEATTLE_DAYS = ("vega_datasets", "0.9.0", "vega_datasets/_data/seattle-weather.csv")  # MIT


def seattle_days(path: Path) -> Held:
    """The package's reader. Degrees Celsius and metres per second (documentation of the data set, from memory)."""
    held = vega.seattle_weather()
    return Held(
        clock(held["date"]),
        {
            "greatest of the day": held["temp_max"].tolist(),
            "least of the day": held["temp_min"].tolist(),
            "wind of the day": held["wind"].tolist(),
        },
    )


FULDA_DAYS = ("spotpy", "1.6.7", "spotpy/examples/cmf_data/fulda_climate.csv")  # MIT


def fulda_days(path: Path) -> Held:
    """As the package's own example reads it (spotpy/examples/spot_setup_cmf_lumped.py), in today's numpy."""
    held = np.genfromtxt(path, delimiter=",", names=True, comments=None, dtype=None, encoding="utf-8", skip_header=0)
    held = held[1:]  # the row of units
    return Held(
        [datetime.strptime(stamp, "%d.%m.%Y") for stamp in held["date"]],
        {
            "greatest of the day": [float(value) for value in held["tmax"]],
            "least of the day": [float(value) for value in held["tmin"]],
            "mean of the day": [float(value) for value in held["tmean"]],
        },
    )


SNOW_ROOF = ("pvanalytics", "0.2.2", "pvanalytics/data/snow_data.csv")  # MIT


def snow_roof(path: Path) -> Held:
    """As the package's documentation reads it (gallery, detection of snow; from memory)."""
    held = pd.read_csv(path, index_col="Timestamp", parse_dates=True)
    return Held(clock(held.index), {"ambient": held["Ambient Temp [C]"].tolist()})


MODELLED_QUARTERS = ("pvanalytics", "0.2.2", "pvanalytics/data/serf_east_psm3_data.csv")  # MIT


def modelled_quarters(path: Path) -> Held:
    """As the package's documentation reads it (gallery, daylight saving and time shifts; from memory)."""
    held = pd.read_csv(path, index_col="measured_on", parse_dates=True)
    return Held(clock(held.index), {"air": held["temp_air"].tolist()}, held.index[0].utcoffset())


MAST_BESIDE_FIELD = ("pvanalytics", "0.2.2", "pvanalytics/data/rmis_weather_data.csv")  # MIT


def mast_beside_field(path: Path) -> Held:
    """As the package's documentation reads it (gallery, weather; from memory). Millibars and per cent."""
    held = pd.read_csv(path, index_col=0, parse_dates=True)
    return Held(
        clock(held.index),
        {
            "air": held["Ambient Temperature"].tolist(),
            "barometer": [value * 100.0 for value in held["Barometric Pressure"]],
            "humidity": [value / 100.0 for value in held["Relative Humidity"]],
        },
    )


INVERTER = ("pvanalytics", "0.2.2", "pvanalytics/data/serf_west_15min.csv")  # MIT


def inverter(path: Path) -> Held:
    """As the package's documentation reads it (gallery, module temperature; from memory)."""
    held = pd.read_csv(path, index_col=0, parse_dates=True)
    return Held(clock(held.index), {"ambient": held["ambient_temp__780"].tolist()})


SOLAR_ROOF = ("pvanalytics", "0.2.2", "pvanalytics/data/nrel_RSF_II.csv")  # MIT


def solar_roof(path: Path) -> Held:
    """As the package's documentation reads it (gallery, module temperature; from memory)."""
    held = pd.read_csv(path, index_col=0, parse_dates=True)
    return Held(
        clock(held.index),
        {"ambient": held["ambient_temp__1053"].tolist(), "wind": held["wind_speed__1051"].tolist()},
    )


AIRFIELD = ("great_tables", "1.1.0", "great_tables/data/11-gibraltar.csv")  # MIT


# the sixteen points of the compass, clockwise (common practice, no source)
POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")


def airfield(path: Path) -> Held:
    """The package's reader. Its documentation gives the units, humidity as a ratio, and 0 for no gust measured."""
    stamps = [datetime.fromisoformat(f"{day} {hour}") for day, hour in zip(gibraltar.date, gibraltar.time, strict=True)]
    return Held(
        stamps,
        {
            "air": gibraltar["temp"].tolist(),
            "humidity": gibraltar["humidity"].tolist(),
            "wind from": [
                math.nan if word == "CALM" else POINTS.index(word) * 22.5 or 360.0 for word in gibraltar["wind_dir"]
            ],
            "wind": gibraltar["wind_speed"].tolist(),
            "gust": [math.nan if value == 0.0 else value for value in gibraltar["wind_gust"]],
            "barometer": [value * 100.0 for value in gibraltar["pressure"]],
        },
    )


CASES: tuple[tuple[str, tuple[str, str, str], Callable[[Path], Held]], ...] = (
    ("weather-hour-clock-first", SEATTLE_HOURS, seattle_hours),
    ("weather-hour-clock-last", SAN_FRANCISCO_HOURS, san_francisco_hours),
    ("weather-day-with-words", SEATTLE_DAYS, seattle_days),
    ("weather-day-unit-row", FULDA_DAYS, fulda_days),
    ("weather-units-in-brackets", SNOW_ROOF, snow_roof),
    ("weather-stamp-with-offset", MODELLED_QUARTERS, modelled_quarters),
    ("weather-date-and-clock-apart", AIRFIELD, airfield),
    ("weather-unnamed-stamp-mast", MAST_BESIDE_FIELD, mast_beside_field),
    ("weather-unnamed-stamp-inverter", INVERTER, inverter),
    ("weather-unnamed-stamp-roof", SOLAR_ROOF, solar_roof),
)
FILES = [path.split("/")[-1] for _, (_, _, path), _ in CASES]


def test_every_plugin_here_can_be_used() -> None:
    assert [problem.place.file for problem in PLUGINS.problems] == []


@pytest.mark.parametrize(("plugin", "file", "held_by"), CASES, ids=FILES)
def test_times_and_values_equal_those_of_the_packages_own_reader(
    plugin: str, file: tuple[str, str, str], held_by: Callable[[Path], Held]
) -> None:
    path = of_package(*file)
    wanted = held_by(path)
    outcome = read(path)
    assert (outcome.state, outcome.plugin_id) == ("imported", plugin), outcome.mapped
    (session,) = outcome.mapped.sessions
    assert session.kind == "weather"
    traces = {trace.channel_id: trace for trace in outcome.mapped.traces}
    assert traces.keys() == wanted.channels.keys()
    begin, offset_s = session.time.started_at_local, session.time.utc_offset_s
    assert begin is not None
    assert offset_s == (None if wanted.offset is None else wanted.offset.total_seconds())
    for name, values in wanted.channels.items():
        trace = traces[name]
        assert stamps(trace, begin) == list(wanted.stamps)
        assert_same(trace.values.to_pylist(), values)
        (channel,) = (channel for channel in session.channels if channel.channel_id == name)
        assert channel.sample_count == len(values)
        assert channel.missing_count == sum(math.isnan(value) for value in values)


@pytest.mark.parametrize(("plugin", "file"), [case[:2] for case in CASES], ids=FILES)
def test_what_no_field_takes_is_kept_cell_for_cell(plugin: str, file: tuple[str, str, str]) -> None:
    path = of_package(*file)
    (manifest,) = (one.manifest for one in PLUGINS.plugins if one.id == plugin)
    (block,) = manifest.block
    assert isinstance(block, TableBlock)
    listed = {column.name for column in block.columns}
    with path.open(newline="", encoding="utf-8") as text:
        header, *rows = csv.reader(text)
    cells = rows[len(block.below_header) :]
    names = [name.split(" [")[0] for name in header]
    wanted = {
        name: [cell for cell in column if cell]
        for name, column in zip(names, zip(*cells, strict=True), strict=True)
        if name not in listed
    }
    (session,) = read(path).mapped.sessions
    assert {one.kept_name: (one.kept_count, one.kept_first, one.kept_last) for one in session.kept} == {
        name: (len(column), column[0], column[-1]) for name, column in wanted.items()
    }


def stamps(trace: Trace, begin: datetime) -> list[datetime]:
    if trace.time_s is not None:
        return [begin + timedelta(seconds=second) for second in trace.time_s.to_pylist()]
    assert trace.interval_s is not None
    return [begin + timedelta(seconds=trace.start_s + trace.interval_s * n) for n in range(len(trace.values))]


def assert_same(found: list[float | None], wanted: Sequence[float]) -> None:
    """Equal to twelve digits (pandas and this program round the last digit of a decimal number otherwise)."""
    assert len(found) == len(wanted)
    for index, (here, there) in enumerate(zip(found, wanted, strict=True)):
        if math.isnan(there):
            assert here is None, index
        else:
            assert here is not None, index
            assert math.isclose(here, there, rel_tol=1e-12, abs_tol=1e-10), index


# Files that no archive should take as they stand: each has a time before that of the row above it.


STATION_OF_CATCHMENT = ("spotpy", "1.6.7", "spotpy/examples/cmf_data/driver_data_site24.csv")  # MIT
FARM_DAYS = ("pcse", "6.0.13", "pcse/tests/test_data/8443_ronda.csv")  # EUPL-1.2
TYPICAL_YEAR = ("pvlib", "0.16.1", "pvlib/data/703165TY.csv")  # BSD-3-Clause


def times_of_catchment(path: Path) -> list[datetime]:
    """Of the first twelve days of every month, day and month stand exchanged in this file."""
    held = pd.read_csv(path, comment="#")
    return [datetime.fromisoformat(stamp) for stamp in held["time"]]


def times_of_farm(path: Path) -> list[datetime]:
    """As the package's own test reads it (pcse/tests/test_penmanmonteith.py)."""
    with path.open(newline="") as file:
        return [datetime.strptime(row["DAY"], "%d-%b-%y") for row in csv.DictReader(file)]


def times_of_typical_year(path: Path) -> list[datetime]:
    """The package's reader. Each month is one of another year."""
    held, _ = read_tmy3(path, map_variables=True)
    return clock(held.index)


@pytest.mark.parametrize(
    ("plugin", "file", "times_by", "first_row"),
    (
        ("weather-hour-remarks-below-header", STATION_OF_CATCHMENT, times_of_catchment, 9),
        ("weather-day-month-in-letters", FARM_DAYS, times_of_farm, 2),
        ("weather-typical-year-hour-24", TYPICAL_YEAR, times_of_typical_year, 3),
    ),
    ids=("days and months exchanged", "days out of order", "months of several years"),
)
def test_a_time_before_that_of_the_row_above_is_refused_at_its_row(
    plugin: str, file: tuple[str, str, str], times_by: Callable[[Path], list[datetime]], first_row: int
) -> None:
    path = of_package(*file)
    stamps = times_by(path)
    back = [index for index in range(1, len(stamps)) if stamps[index] <= stamps[index - 1]]
    outcome = read(path)
    assert (outcome.state, outcome.plugin_id) == ("refused", plugin)
    assert outcome.mapped.sessions == ()
    (problem,) = (one for one in outcome.mapped.problems if one.blocks != "note")
    assert (problem.code, problem.place.row, problem.count) == ("time-step-back", first_row + back[0], len(back))
