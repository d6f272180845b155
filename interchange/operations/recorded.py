"""What was recorded of one test, for people: who, when, where, what was read, what the source says of it."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator

from interchange.archive.found_points import Found
from interchange.model.question import Decision
from interchange.model.session import Run, Session, WeatherStation
from interchange.quantities import QUANTITIES
from interchange.report.heads import Units, shown, with_unit
from interchange.report.section import Section
from interchange.report.sentences import use_words
from interchange.table import Row, Table, counted


def heading(session: Session) -> str:
    """One line: which job and house, and what sort of record."""
    if session.kind == "weather":
        return f"Weather record of {session.weather_station.station_as_recorded or 'an unnamed station'}"
    record = session.record
    stage = f", {record.stage}" if record.stage else ""
    kind = session.kind.replace("_", " ")
    return f"Job {record.job_id or 'unknown'}, house {record.site_id or 'unknown'}{stage} ({kind})"


def recorded(session: Session, units: Units) -> Iterator[Section]:
    """Everything of a test that needs no reckoning."""
    yield Section("Recorded", tuple(_recorded(session, units)))
    for run in session.runs:
        if run.points:
            yield Section(_run_title(run, units), table=_points(run))
    if session.other_readings:
        readings = [
            (r.other_reading_as_recorded, r.other_pressure_pa, r.other_flow_m3_h) for r in session.other_readings
        ]
        columns = ("other_reading_as_recorded", "other_pressure_pa", "other_flow_m3_h")
        yield Section("Readings", table=_without_empty_columns(Table(columns, list(readings))))
    if session.channels:
        yield Section("Channels", table=_channels(session))
    said = tuple(_reported(session, units))
    if said or session.runs:
        yield Section("What the source reports", said or ("It reports no result.",))


def made_by(session: Session) -> str:
    """One line: when a test was made, and by whom."""
    record = session.record
    return f"{_when(session)}, {record.contractor or 'unknown contractor'}, crew {record.crew or 'unknown'}"


def by_people(session: Session, decisions: Iterable[Decision]) -> Iterator[Section]:
    """What people amended of a test and decided of it, oldest first; nothing where they did neither."""
    lines = []
    for change in session.amendments:
        was, now = (_plain(value) for value in (change.amended_from, change.amended_to))
        lines.append(f"{change.amended_field}: {was} → {now}, by {change.amended_by} ({change.amended_why})")
    for made in decisions:
        uses = use_words(made.use) if made.use else "all uses"
        word = made.decision.replace("_", " ")
        lines.append(f"Decided: {word}, for {uses}, by {made.decided_by} ({made.decided_why})")
    if lines:
        yield Section("What people changed and decided", tuple(lines))


def _plain(value: str | None) -> str:
    """A value kept as JSON, as people write it."""
    told = None if value is None else json.loads(value)
    return "nothing" if told is None else f"{told:g}" if isinstance(told, float) else str(told)


def found_in_log(found: Found, units: Units) -> Iterator[Section]:
    """What was found in the log of a test that names no points itself."""
    points, baselines = counted(found.point_count, "point"), counted(found.baseline_count, "baseline")
    said = [f"The source names none; {points} and {baselines} were found in its log."]
    if found.tests_in_log > 1:
        used = "only the first is used" if found.tests_left_out else "all are used, as repeats"
        said.append(f"The log holds {found.tests_in_log} tests one after the other; {used}.")
    if found.air:
        air = ", ".join(f"{_WORDS[name]} {with_unit(name, value, units)}" for name, value in found.air.items())
        said.append(f"Means of the log: {air}.")
    yield Section("Found in the log", tuple(said))
    for run in found.runs:
        yield Section(_run_title(run, units), table=_points(run))


_SAID = {
    "reported_flow_m3_h": "flow",
    "reported_air_change_50_per_h": "air changes an hour at 50 Pa",
    "reported_natural_air_change_per_h": "air changes an hour without a fan",
    "reported_coefficient_m3_h": "coefficient",
    "reported_exponent": "exponent",
    "reported_exponent_assumed": "exponent assumed",
    "reported_correlation_r": "r",
    "reported_correlation_r2": "r2",
    "reported_leakage_area_m2": "leakage area",
    "reported_leakage_area_pressure_pa": "pressure of the leakage area",
    "reported_leakage_area_discharge_coefficient": "discharge coefficient of the leakage area",
    "reported_method": "method",
    "reported_basis": "the values are",
}


def _reported(session: Session, units: Units) -> Iterator[str]:
    said = session.reported.model_dump()
    for name, words in _SAID.items():
        value = said[name]
        if value is None:
            continue
        has_unit = QUANTITIES[name].ucum not in ("", "1")
        told = with_unit(name, value, units) if has_unit else shown(name, value, units)
        pressure = said["reported_flow_pressure_pa"]
        at = f" at {pressure:g} Pa" if name == "reported_flow_m3_h" and pressure is not None else ""
        yield f"{words}: {told}{at}"


def _when(session: Session) -> str:
    time = session.time
    if time.started_at_utc is not None:
        return f"{time.started_at_utc:%Y-%m-%d %H:%M:%S} UTC"
    if time.started_at_local is None:
        return "time unknown"
    if time.time_quality == "date_only":
        return f"{time.started_at_local:%Y-%m-%d} (the day only)"
    return f"{time.started_at_local:%Y-%m-%d %H:%M:%S} (time zone unknown)"


def _placed(station: WeatherStation) -> bool:
    return station.station_latitude_deg is not None and station.station_longitude_deg is not None


def _recorded(session: Session, units: Units) -> Iterator[str]:
    record, air, station = session.record, session.conditions, session.weather_station
    yield f"test    {session.session_id}, {_when(session)}"
    if session.kind != "weather":
        yield f"by      {record.contractor or 'unknown contractor'}, crew {record.crew or 'unknown'}"
    yield f"from    {session.source.source_name}, {session.source.source_place}; read by {session.source.plugin_id}"
    if session.kind == "not_tested":
        said = f" ('{record.not_tested_as_recorded}')" if record.not_tested_as_recorded else ""
        yield f"not tested: {(record.not_tested_reason or 'reason unknown').replace('_', ' ')}{said}"
    if session.kind == "other_test":
        tested = (record.other_test or "something else").replace("_", " ")
        yield f"test of {tested}: kept as it is, never fitted as an envelope"
    if session.kind == "weather":
        place = [f"{station.station_latitude_deg:.4f}°, {station.station_longitude_deg:.4f}°"] * _placed(station)
        height = [f"{station.station_elevation_m:g} m above sea level"] * (station.station_elevation_m is not None)
        yield f"station {', '.join([station.station_id or 'without id', *place, *height])}"
        return
    house = {
        "volume_m3": session.building.volume_m3,
        "indoor_temperature_c": air.indoor_temperature_c,
        "outdoor_temperature_c": air.outdoor_temperature_c,
        "wind_speed_m_s": air.wind_speed_m_s,
    }
    known = [f"{_WORDS[name]} {with_unit(name, value, units)}" for name, value in house.items() if value is not None]
    if air.wind_as_recorded:
        known.append(f"wind '{air.wind_as_recorded}'")
    yield f"house   {', '.join(known) or 'nothing recorded'}"
    for line in session.reference_lines:
        yield f"line {line.line_id}  {line.arrangement_as_recorded or line.arrangement}"
    for opening in session.openings:
        yield f"{opening.opening}: {opening.opening_state}"
    if session.kept:
        names = ", ".join(dict.fromkeys(kept.kept_name for kept in session.kept))
        yield f"kept    {names}: not part of the form, reachable in the original"


_WORDS = {
    "volume_m3": "volume",
    "indoor_temperature_c": "indoors",
    "outdoor_temperature_c": "outdoors",
    "indoor_relative_humidity": "humidity indoors",
    "outdoor_relative_humidity": "humidity outdoors",
    "barometric_pressure_pa": "air pressure",
    "wind_speed_m_s": "wind",
}


def _run_title(run: Run, units: Units) -> str:
    baselines = [
        f"baseline {when} {shown('baseline_before_pressure_pa', value, units)} Pa"
        if value is not None
        else f"no baseline {when}"
        for when, value in (("before", run.baseline_before_pressure_pa), ("after", run.baseline_after_pressure_pa))
    ]
    return f"Run {run.run_number}, {run.direction or 'direction unknown'}; {', '.join(baselines)}"


def _points(run: Run) -> Table:
    rows: list[Row] = [
        (
            point.point_number,
            point.target_pressure_pa,
            point.envelope_pressure_pa,
            point.envelope_pressure_spread_pa,
            reading.fan_configuration,
            reading.fan_pressure_pa,
            reading.flow_m3_h,
        )
        for point in run.points
        for reading in point.fan_readings
    ]
    columns = (
        "point_number",
        "target_pressure_pa",
        "envelope_pressure_pa",
        "envelope_pressure_spread_pa",
        "fan_configuration",
        "fan_pressure_pa",
        "flow_m3_h",
    )
    return _without_empty_columns(Table(columns, rows))


def _without_empty_columns(table: Table) -> Table:
    full = [i for i in range(len(table.columns)) if any(row[i] is not None for row in table.rows)]
    return Table(tuple(table.columns[i] for i in full), [tuple(row[i] for i in full) for row in table.rows])


def _channels(session: Session) -> Table:
    return Table(
        ("channel_id", "quantity", "line_id", "interval_s", "sample_count", "missing_count"),
        [
            (c.channel_id, QUANTITIES[c.quantity].words, c.line_id, c.interval_s, c.sample_count, c.missing_count)
            for c in session.channels
        ],
    )
