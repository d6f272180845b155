"""Sources written for these tests in three of the layouts, and the few steps every test takes. Invented values."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from interchange.errors import Problem
from interchange.files import Source
from interchange.model import manifest
from interchange.model.manifest import Manifest
from interchange.model.question import Answer, Import
from interchange.model.session import Session
from interchange.reading.context import Context
from interchange.reading.door import read_source
from interchange.reading.registry import Plugin, load_plugins
from interchange.resources import shipped

ROWS = """\
Job number,House,Stage,Test date,Test time,Crew,Contractor,Baseline (Pa),House pressure (Pa),Fan setting,\
Fan flow (cfm),Volume (cu ft),Floor area (sq ft),Indoor (F),Outdoor (F),Wind,Leakage at 50 Pa (cfm),Remarks
0042,H-07,test-in,02/03/2026,9:15 AM,C1,Alder & Co,-1.2,-50.2,plate 2,2100,14000,1750,68,32,breezy,2090,loft hatch taped
0043,H-08,test-out,11/01/2026,12:15 PM,C1,Alder & Co,,49.8,,1500,12000,1500,68,41,,n/a,
"""
SECTIONS = """\
Airtightness record;version 2
[Test]
Job;T-1
House;H-1
Stage;before
Started;03.02.2026 10:42
UTC offset;-05:00
Contractor;Alder
Crew;C2
Tester;qq
Procedure;multi-point

[House]
Volume;412,5;m³
Height;540;cm
[Air]
Indoor;20,5;°C
Barometer;1009,5;hPa
Wind from;240;°
[Kit]
Gauge;G-1
Gauge calibrated;12.05.2025
Fan;F-1
Line end;several facades
Line length;8;m
[Fan calibration]
Opening;Coefficient;Exponent;Least fan pressure;Reference density
;m³/h;;Pa;kg/m³
full;492,0;0,500;10;1,204
half;171,0;0,505;15;1,204
[Pressurisation]
Baseline before;1,5;Pa
Point;Target;Envelope;Spread;Seconds;Opening;Fan pressure;Flow
;Pa;Pa;Pa;s;;Pa;m³/h
1;50;50,2;0,9;30;full;41,2;3159
2;30;30,1;0,8;30;third;20,0;1200
[Depressurisation]
Baseline before;-1,35;Pa
Baseline before spread;0,42;Pa
Baseline before seconds;60;s
Baseline after;-1,20;Pa
Point;Target;Envelope;Spread;Seconds;Opening;Fan pressure;Flow
;Pa;Pa;Pa;s;;Pa;m³/h
1;-60;-60,3;0,9;30;half;41,2;3159
[Result]
Flow at 50 Pa;2831;m³/h
Exponent;0,641
"""
LOG = """\
# log: zero flow, two reference lines
# job: T-2
# house: H-2
# started: 2026-02-11T13:05:00+01:00
# gauge: G-2
# line A: open end; north facade
# line B: branched; north and east facade
# averaging: 1 s
elapsed s,line A Pa,line B Pa,indoor C,wind m/s
0,-1.84,-1.12,20.3,3.9
1,OL,-1.20,20.3,
2,-2.31,-1.25,20.4,4.4
"""


HEAD, FIRST, SECOND = ROWS.splitlines()


def answer(question_id: str, value: str) -> Answer:
    """An answer for one file."""
    return Answer(question_id, value, "file", "qq", datetime(2026, 3, 1, tzinfo=UTC))


def source(content: str | bytes, name: str = "test.csv") -> Source:
    """A source of these bytes."""
    data = content.encode() if isinstance(content, str) else content
    return Source(name, hashlib.sha256(data).hexdigest(), len(data), data)


@cache
def plugins() -> tuple[Plugin, ...]:
    """Those that ship."""
    found = load_plugins([shipped("plugins")])
    assert found.problems == ()
    return found.plugins


def plugin(name: str) -> Plugin:
    """One of them by its id."""
    return next(one for one in plugins() if one.id == name)


def taken(content: str | bytes, zone: str | None = None, answers: tuple[Answer, ...] = ()) -> Import:
    """What becomes of these bytes."""
    return read_source(source(content), plugins(), Context(zone), answers)


def problems(content: str | bytes, zone: str | None = None) -> list[Problem]:
    """What is wrong with these bytes; where that forbids taking them in, nothing of them is."""
    outcome = taken(content, zone)
    if any(problem.blocks in ("session", "file") for problem in outcome.mapped.problems):
        assert (outcome.state, outcome.mapped.sessions, outcome.mapped.traces) == ("refused", (), ())
    return list(outcome.mapped.problems)


def the_problem(content: str | bytes, zone: str | None = None) -> Problem:
    """The only thing wrong with these bytes."""
    (problem,) = problems(content, zone)
    return problem


def sessions(content: str | bytes, zone: str | None = None) -> tuple[Session, ...]:
    """The sessions of these bytes."""
    outcome = taken(content, zone)
    assert outcome.state == "imported", [str(problem) for problem in outcome.mapped.problems]
    return outcome.mapped.sessions


def made_plugin(toml: str) -> Plugin:
    """A plugin of this manifest."""
    read: Manifest = manifest.load(toml.encode(), "plugin.toml")
    return Plugin(read, Path("nowhere"))


SHEET = """
manifest_version = 1
id = "sheet"
version = "1.0.0"
title = "Sheet for these tests"
languages = ["English"]
units = "metric"
[recognise]
header_names = ["Nr", "P"]
[layout]
encodings = ["utf-8"]
delimiter = "MARK"
decimal_mark = "."
[[constant]]
to = "kind"
value = "single_point"
reason = "each row is one reading"
[[block]]
kind = "table"
header_names = ["Nr"]
each_row = "session"
required = true
columns = [
    { name = "Nr", to = "job_id" },
    { name = "P", to = "envelope_pressure_pa", unit = "Pa", sign = "as_recorded", sign_reason = "stated" },
]
""".replace("MARK", ",")
