"""The invented programme "Fennick Vale Warm Homes": houses, kit, and what is written down as the truth.

Every name, number and house here is made up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from interchange.demo.air import Air, pressure_at_pa
from interchange.demo.house import Envelope, envelope
from interchange.demo.kit import Fan, Gauge, Line, Opening
from interchange.demo.visit import Seen, Setting, Water, Weather, generator

CALM_BELOW_M_S = 3.0  # mean speed at 10 m in open country
WINDY_FROM_M_S = 6.0
_TIGHTENED_EXPONENT = 0.012  # small gaps stay behind when the large ones are closed; assumption


@dataclass(frozen=True, slots=True)
class House:
    """A house as it stands before the work, and how much of its leakage later stages leave."""

    site_id: str
    volume_m3: float
    floor_m2: float
    roof_m: float
    flow_50_m3_h: float
    exponent: float
    envelope_m2: float = 0.0  # written only in sectioned records
    elevation_m: float = 120.0
    ceiling: float = 0.2  # share of the leaks in the ceiling
    floor: float = 0.12
    left_interim: float = 0.8
    left_after: float = 0.6

    def leaks(self, stage: str) -> Envelope:
        """The envelope at a stage; its leaks keep their places."""
        left = {"interim": self.left_interim, "after": self.left_after}.get(stage, 1.0)
        exponent = self.exponent + (_TIGHTENED_EXPONENT if stage == "after" else 0.0)
        return envelope(
            generator(self.site_id),
            flow_50_m3_h=left * self.flow_50_m3_h,
            exponent=exponent,
            height_m=self.roof_m,
            ceiling=self.ceiling,
            floor=self.floor,
        )


def _openings(full: float, half: float, quarter: float) -> tuple[Opening, ...]:
    return (
        Opening("full", full, 0.500, 10.0, 90.0),
        Opening("half", half, 0.505, 15.0, 220.0),
        Opening("quarter", quarter, 0.507, 15.0, 220.0),
    )


HARROW_GAUGE = Gauge("G-0417", date(2025, 5, 12), 1.0021)
HARROW_GAUGE_2 = Gauge("G-0420", date(2025, 5, 12), 0.9984)
HARROW_FAN = Fan("F-0093", date(2025, 5, 12), _openings(492.0, 171.0, 58.4), 1.0040)
HARROW_FAN_2 = Fan("F-0097", date(2025, 9, 3), _openings(487.5, 169.8, 57.9), 0.9955)
OSTREL_GAUGE = Gauge("19", date(2025, 8, 20), 0.9975)
OSTREL_FAN = Fan("7", date(2025, 8, 20), _openings(495.0, 172.4, 58.8), 0.9962)
QUILLBY_GAUGE = Gauge("G-2206", date(2025, 11, 4), 1.0015)
QUILLBY_FAN = Fan("F-2211", date(2025, 11, 4), _openings(489.0, 170.2, 58.1), 1.0028)

OPEN_WEST = Line("open end", ("west",), 6.0, 0.0)
OPEN_NORTH = Line("open end", ("north",), 4.0, 0.0)
BRANCHED = Line("branched", ("north", "east"), 8.0, 6.0)
ALL_SIDES = Line("several facades", ("north", "east", "south", "west"), 14.0, 1.0)
SHELTERED = Line("sheltered", ("east",), 5.0, 0.0)


def setting(
    house: House,
    *,
    job_id: str,
    stage: str,
    weather: tuple[float, float, float, float],
    kit: tuple[Gauge, Fan, Line],
    water: Water | None = None,
    barometer_pa: float | None = None,
) -> Setting:
    """A visit's setting; its random numbers hang on job and stage.

    weather is indoor [°C], outdoor [°C], wind at 10 m in open country [m/s], from [deg]. Without a barometer the air
    is that of the standard atmosphere at the house's elevation.
    """
    indoor_c, outdoor_c, station_m_s, from_deg = weather
    pressure_pa = pressure_at_pa(house.elevation_m) if barometer_pa is None else barometer_pa
    air = Air(indoor_c, outdoor_c, pressure_pa)
    gauge, fan, line = kit
    return Setting(
        f"{job_id} {stage}",
        house.leaks(stage),
        house.roof_m,
        Weather(air, station_m_s, from_deg),
        gauge,
        fan,
        line,
        water,
    )


def wind_state(station_m_s: float) -> str:
    """The truth's word for a mean wind at 10 m in open country [m/s]."""
    return "calm" if station_m_s < CALM_BELOW_M_S else "breezy" if station_m_s < WINDY_FROM_M_S else "windy"


@dataclass(frozen=True, slots=True)
class Expected:
    """What a reader should find for each use: a verdict (or several that would do), a colon, the reason."""

    flow_at_50: str
    low_pressure_and_exponent: str
    before_after: str
    publishable: str

    def document(self) -> dict[str, str]:
        """The expectations by use."""
        return {
            "flow_at_50": self.flow_at_50,
            "low_pressure_and_exponent": self.low_pressure_and_exponent,
            "before_after": self.before_after,
            "publishable": self.publishable,
        }


def truth(
    setting: Setting,
    seen: Seen,
    *,
    place: str,
    job_id: str,
    site_id: str,
    stage: str,
    kind: str,
    direction: str | None,
    fault: str | None,
    expected: Expected,
    planted: Sequence[str] = (),
) -> dict[str, object]:
    """What is true of one test, as truth.json holds it.

    `planted` names what was put into it on purpose, beside water and strong wind, which the setting shows.
    """
    weather = setting.weather
    shown = [*(["water"] if setting.water else []), *(["windy"] if weather.station_m_s >= WINDY_FROM_M_S else [])]
    return {
        "job_id": job_id,
        "site_id": site_id,
        "stage": stage,
        "source_place": place,
        "kind": kind,
        "direction": direction,
        "true_flow_50_m3_h": round(setting.house.flow_m3_h(50.0), 1),
        "true_exponent": round(setting.house.exponent, 4),
        "wind_state": wind_state(weather.station_m_s),
        "wind_10m_m_s": weather.station_m_s,
        "wind_roof_m_s": round(seen.roof_m_s, 2),
        "line": setting.line.arrangement,
        "zero_flow_pa": round(seen.zero_flow_pa, 2),
        "stack_only_pa": round(seen.stack_only_pa, 2),
        "line_shift_pa": setting.water.shift_pa if setting.water else 0.0,
        "fault": fault,
        "planted": [*shown, *planted],
        "expected": expected.document(),
    }


@dataclass(frozen=True, slots=True)
class Delivery:
    """One delivered file, and what should become of it.

    A file within a zip is named ZIP/NAME. `companions` are further files that its test was read from, by name.
    `known` is the number of tests in bytes that came before.
    """

    file: str
    content: bytes
    outcome: str
    why: str
    tests: tuple[dict[str, object], ...] = ()
    companions: tuple[tuple[str, bytes], ...] = ()
    known: int = 0

    def document(self) -> dict[str, object]:
        """The delivery as truth.json holds it."""
        return {
            "file": self.file,
            "outcome": self.outcome,
            "why": self.why,
            "test_count": len(self.tests) + self.known,
            "companions": [name for name, _ in self.companions],
            "tests": list(self.tests),
        }
