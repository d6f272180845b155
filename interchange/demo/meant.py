"""One test of the year as it was meant, as it went, and what is written down as its truth."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from interchange.demo.programme import House, setting, truth, wind_state
from interchange.demo.season import Sky, sky
from interchange.demo.verdicts import Told, expected, seen_alone
from interchange.demo.visit import Plan, Seen, Setting, Water, conduct, generator
from interchange.demo.year import Job, Kit, kit_of, slots

ONE_POINT_S = 20
HAND_SHOWS_FROM_M_S = 9.5  # at 10 m: about 3 m/s on a hand-held anemometer among houses
BUNCHED_FROM = 0.97  # of the target: from here a crew that helps itself helps the display
_BUNCHED_SHARES = (0.955, 0.998)  # of the target, displayed


@dataclass(frozen=True, slots=True)
class Meant:
    """One test as it was meant."""

    job: Job
    stage: str
    started: datetime
    kit: Kit
    plans: tuple[Plan, ...] = (Plan(-1, (50.0,), point_s=ONE_POINT_S),)
    remark: str = ""
    fault: str | None = None
    planted: tuple[str, ...] = ()
    water: Water | None = None
    baseline: bool = True
    two_fans: bool = False
    shown_share: float | None = None  # of the target: what the crew made the display show

    @property
    def sky(self) -> Sky:
        """The weather it stood in."""
        return sky(self.started)

    @property
    def indoor_c(self) -> float:
        """Temperature indoors [°C]: heated in winter, drifting with the day in summer."""
        draw = float(generator(f"indoor {self.job.job_id} {self.stage} {self.started}").uniform(-1.2, 1.2))
        return round(max(19.8, 17.0 + 0.35 * self.sky.outdoor_c) + draw, 1)

    @property
    def state(self) -> str:
        """The truth's word for the wind."""
        return wind_state(self.sky.station_m_s)

    @property
    def kind(self) -> str:
        """By the number of points."""
        count = sum(len(plan.targets_pa) for plan in self.plans)
        return {1: "single_point", 2: "two_point"}.get(count, "multi_point")

    @property
    def house(self) -> House:
        """The house before the work, and what later stages leave."""
        return self.job.house

    @property
    def direction(self) -> str:
        """The truth's word for the directions of its runs."""
        if len(self.plans) > 1:
            return "both"
        return "depressurisation" if self.plans[0].sign < 0 else "pressurisation"


def meant(job: Job, stage: str, started: datetime, **more: Any) -> Meant:
    """A test with the kit that its crew carried that day."""
    return replace(Meant(job, stage, started, kit_of(job.crew[:2], started.date())), **more)


def visits(made: Sequence[Job], special: Mapping[tuple[str, str], Mapping[str, Any]]) -> list[Meant]:
    """The tests of one crew's jobs; `special` says by job and stage what is other than usual."""
    by_id = {job.job_id: job for job in made}
    found = []
    for (job_id, stage), slot in slots(made).items():
        more = dict(special.get((job_id, stage), {}))
        found.append(meant(by_id[job_id], stage, more.pop("started", slot), **more))
    return found


def helped(test: Meant) -> Meant:
    """The test as a crew wrote it down whose results, where they would just have failed, crowd under the target."""
    share = test.house.leaks(test.stage).flow_m3_h(50.0) / test.job.target_m3_h
    if test.stage != "after" or share < BUNCHED_FROM:
        return test
    shown = float(generator(f"bunched {test.job.job_id}").uniform(*_BUNCHED_SHARES))
    return replace(test, fault="bunched", planted=("bunched",), shown_share=shown)


def place_of(test: Meant) -> Setting:
    """The setting of a test; its random numbers hang on job, stage and time."""
    weather = test.sky
    made = setting(
        test.house,
        job_id=test.job.job_id,
        stage=test.stage,
        weather=(test.indoor_c, round(weather.outdoor_c, 1), round(weather.station_m_s, 1), round(weather.from_deg)),
        kit=(test.kit.gauge, test.kit.fan, test.kit.line),
        water=test.water,
        barometer_pa=round(weather.barometer_pa(test.house.elevation_m), -1),
    )
    return replace(made, seed_text=f"{test.job.job_id} {test.stage} {test.started:%Y-%m-%d %H:%M}")


@dataclass(frozen=True, slots=True)
class Done:
    """One test as it went."""

    meant: Meant
    place: Setting
    seen: Seen

    def truth(self, place: str, told: Told, partners: Iterable[Meant] = ()) -> dict[str, object]:
        """What is true of it; `told` is what its layout says, `partners` are the job's tests at the other stages."""
        test = self.meant
        if told.by_hand and self.place.weather.station_m_s < HAND_SHOWS_FROM_M_S:
            told = replace(told, wind=False)
        others = [seen_alone(other.state, other.fault) for other in partners]
        return truth(
            self.place,
            self.seen,
            place=place,
            job_id=test.job.job_id,
            site_id=test.house.site_id,
            stage=test.stage,
            kind=test.kind,
            direction=test.direction,
            fault=test.fault,
            expected=expected(
                kind=test.kind,
                state=test.state,
                fault=test.fault,
                both=len(test.plans) > 1,
                told=told,
                partners=others if test.stage in ("before", "after") else [],
            ),
            planted=test.planted,
        )


def done(test: Meant) -> Done:
    """Carry a test out."""
    place = place_of(test)
    return Done(test, place, conduct(place, test.plans))


class Partners:
    """Which tests a before/after comparison of a job would set against a test."""

    def __init__(self, tests: Iterable[Meant]) -> None:
        """Gather tests by job."""
        self._by_job: dict[str, list[Meant]] = {}
        for test in tests:
            self._by_job.setdefault(test.job.job_id, []).append(test)

    def of(self, test: Meant) -> list[Meant]:
        """Tests of the same job at the other stage of the pair."""
        other = {"before": "after", "after": "before"}.get(test.stage)
        return [found for found in self._by_job.get(test.job.job_id, []) if found.stage == other]
