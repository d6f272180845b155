"""What must not change, or change in proportion, whatever the readings are: 10,000 mixed sessions, invented.

The bag holds every kind of session, sessions without runs, runs without points, points without readings, several
fans, both directions and an unknown one, absent numbers, dropped points, points of the wrong sign and of one pressure.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import pytest
from batch_by_hand import batch_of
from rule_sets_by_hand import BY_HAND, shipped

from interchange.analysis import chain
from interchange.analysis.leakage import SHARES, Leakage
from interchange.analysis.steps import FITS
from interchange.quantities import CHOICES

Session = dict[str, Any]

SESSIONS = 10_000
ALONE = 400
CLOSE = 1e-9
BASELINE_SUBTRACTED = [name for name in BY_HAND if name != "as_displayed"]

rule_set = pytest.mark.parametrize("name", BY_HAND)
with_baseline = pytest.mark.parametrize("name", BASELINE_SUBTRACTED)


def a_point(rng: np.random.Generator, sign: float, pressure_pa: float, calibrations: int) -> Session:
    wrong_sign = rng.random() < 0.02
    point: Session = {
        "envelope_pressure_pa": None if rng.random() < 0.03 else sign * pressure_pa * (-1 if wrong_sign else 1),
        "baseline_removed": [False, False, False, None][rng.integers(4)],
        "dropped": rng.random() < 0.05,
        "readings": [
            {
                "fan_pressure_pa": None if rng.random() < 0.3 else rng.uniform(8, 300),
                "flow_m3_h": None if rng.random() < 0.02 else 240 * pressure_pa**0.65 * rng.lognormal(0, 0.03),
                "flow_basis": [*CHOICES["flow_basis"], "indicated", "indicated", None][rng.integers(8)],
                "calibration_index": None if rng.random() < 0.4 else float(rng.integers(max(calibrations, 1))),
            }
            for _ in range(rng.choice([0, 1, 1, 1, 1, 1, 2, 3]))
        ],
    }
    return point


def a_run(rng: np.random.Generator, points: int, calibrations: int, *, baselines_known: bool) -> Session:
    direction = [*CHOICES["direction"], *CHOICES["direction"], None][rng.integers(5)]
    sign = {"depressurisation": -1.0, "pressurisation": 1.0, None: rng.choice([-1.0, 1.0])}[direction]
    pressures = rng.uniform(8, 75, points) if rng.random() > 0.03 else np.full(points, 50.0)
    run: Session = {"direction": direction}
    for place in ("before", "after"):
        if baselines_known or rng.random() < 0.7:
            run[f"baseline_{place}_pressure_pa"] = rng.normal(-1.0, 1.0)
    run["points"] = [a_point(rng, sign, pressure, calibrations) for pressure in pressures.tolist()]
    return run


def a_calibration(rng: np.random.Generator) -> Session:
    c, m = rng.uniform(100, 600), rng.uniform(0.48, 0.52)
    common = {
        "reference_air_density_kg_m3": None if rng.random() < 0.3 else 1.204,
        "minimum_fan_pressure_pa": rng.uniform(5, 20),
        "maximum_fan_pressure_pa": rng.uniform(200, 400),
    }
    if rng.random() < 0.6:
        return {**common, "fan_coefficient_m3_h": c, "fan_exponent": m}
    pressures = np.geomspace(10.0, rng.uniform(100, 300), int(rng.integers(2, 12)))
    flows = c * pressures**m * np.linspace(1.0, 1.1, pressures.size)
    rows = zip(pressures.tolist(), flows.tolist(), strict=True)
    return {**common, "table": [{"calibration_pressure_pa": p, "calibration_flow_m3_h": q} for p, q in rows]}


def a_session(rng: np.random.Generator, *, baselines_known: bool) -> Session:
    kinds = [*CHOICES["kind"], "multi_point", "multi_point", "single_point", "single_point"]
    kind = kinds[rng.integers(len(kinds))]
    calibrations = int(rng.integers(0, 4))
    session: Session = {"kind": kind}
    for name, low, high in (
        ("volume_m3", 150, 900),
        ("elevation_m", 0, 2500),
        ("indoor_temperature_c", 15, 26),
        ("outdoor_temperature_c", -20, 35),
        ("barometric_pressure_pa", 80_000, 103_000),
        ("reported_flow_m3_h", 800, 5000),
    ):
        if rng.random() < 0.8:
            session[name] = rng.uniform(low, high)
    session["reported_flow_pressure_pa"] = 50.0
    session["calibrations"] = [a_calibration(rng) for _ in range(calibrations)]
    longest = {"single_point": 1, "two_point": 2}.get(kind, 12)
    session["runs"] = [
        a_run(rng, int(rng.integers(0, longest + 1)), calibrations, baselines_known=baselines_known)
        for _ in range(rng.choice([0, 1, 1, 1, 2, 3]))
    ]
    return session


@cache
def bag(*, sessions: int = SESSIONS, baselines_known: bool = False) -> tuple[Session, ...]:
    rng = np.random.default_rng(sessions)
    empty: Session = {"kind": "multi_point", "runs": []}
    mixed = [a_session(rng, baselines_known=baselines_known) for _ in range(sessions - 3)]
    for session in mixed:
        for name in ("indoor_relative_humidity", "outdoor_relative_humidity"):
            if rng.random() < 0.5:
                session[name] = rng.uniform(0.2, 1.0)
    return (empty, *mixed[: sessions // 2], empty, *mixed[sessions // 2 :], empty)


@cache
def recomputed(name: str) -> Leakage:
    return chain.run(batch_of(bag()), shipped(name))


def runs_of(result: Leakage, session: int) -> slice:
    return slice(int(result.run_offsets[session]), int(result.run_offsets[session + 1]))


def bits_of(result: Leakage, session: int) -> dict[str, bytes]:
    """Everything said of one session and of its runs, byte by byte."""
    whole = {f"session {name}": column[session : session + 1].tobytes() for name, column in result.session.items()}
    runs = {f"run {name}": column[runs_of(result, session)].tobytes() for name, column in result.run.items()}
    return {**whole, **runs, "notes": result.note_mask[session : session + 1].tobytes()}


def changed(
    sessions: tuple[Session, ...], change: Callable[[Session, Session, Session], tuple[Session, Session]]
) -> list:
    """The sessions with each run and point changed: change(session, run, point) gives run and point anew."""
    anew = []
    for session in sessions:
        runs = []
        for run in session["runs"]:
            pairs = [change(session, run, point) for point in run["points"]]
            heads = [change(session, run, {"readings": []})[0], *[head for head, _ in pairs]]
            runs.append({**heads[0], "points": [point for _, point in pairs]})
        anew.append({**session, "runs": runs})
    return anew


def assert_close(found: Leakage, other: Leakage, names: tuple[str, ...]) -> None:
    for name in names:
        np.testing.assert_allclose(found.session[name], other.session[name], rtol=CLOSE, atol=0, err_msg=name)


@rule_set
def test_the_bag_is_worth_recomputing(name: str):
    """Enough sessions come out with a flow, and enough do not."""
    with_flow = np.isfinite(recomputed(name).session["flow_50_m3_h"])
    assert 1200 < with_flow.sum() < 9000
    assert len(set(recomputed(name).note_mask.tolist())) > 20
    assert (np.diff(recomputed(name).run_offsets) == 0).sum() > 500


@rule_set
def test_shares_lead_from_what_the_same_fit_makes_of_the_display(name: str):
    """The fit of the rule set alone, without any correction, times all shares, is the result; for tests of one run."""
    result = recomputed(name).session
    fit = [step for step in shipped(name) if step.name in FITS]
    displayed = chain.run(batch_of(bag()), fit).session["flow_50_m3_h"]
    together = np.prod([1.0 + result[share] / 100.0 for share in SHARES], axis=0)
    one_run = np.diff(recomputed(name).run_offsets) == 1
    known = np.isfinite(together) & one_run & (displayed > 1.0) & (result["flow_50_m3_h"] > 1.0)
    assert known.sum() > 400
    np.testing.assert_allclose((displayed * together)[known], result["flow_50_m3_h"][known], rtol=CLOSE)


@rule_set
def test_results_are_finite_or_absent(name: str):
    result = recomputed(name)
    for column in (*result.session.values(), *result.run.values()):
        assert not np.isinf(column).any()


@pytest.mark.parametrize("pressures_pa", [(-30.29, -30.32), (-30.32, -30.29), (-50.0, -50.02), (-8.1, -8.2)])
@rule_set
def test_two_points_at_all_but_one_pressure_give_no_infinite_result(name: str, pressures_pa: tuple[float, float]):
    """Three fans at the one and one fan at the other: a line so steep that its coefficient is beyond any number."""
    session = {
        "kind": "two_point",
        "volume_m3": 400.0,
        "indoor_temperature_c": 20.0,
        "outdoor_temperature_c": 5.0,
        "barometric_pressure_pa": 101_000.0,
        "runs": [
            {
                "direction": "depressurisation",
                "baseline_before_pressure_pa": 0.0,
                "points": [
                    {"envelope_pressure_pa": pressure, "readings": [{"flow_m3_h": flow, "flow_basis": "indicated"}]}
                    for pressure, flow in zip(pressures_pa, (6600.0, 2200.0), strict=True)
                ],
            }
        ],
    }
    result = chain.run(batch_of([session]), shipped(name))
    for column in (*result.session.values(), *result.run.values()):
        assert not np.isinf(column).any()


@rule_set
def test_a_session_alone_equals_itself_among_ten_thousand_bit_for_bit(name: str):
    among = recomputed(name)
    chosen = {0, SESSIONS - 1, SESSIONS // 2, *np.random.default_rng(1).integers(0, SESSIONS, ALONE).tolist()}
    for i in sorted(chosen):
        alone = chain.run(batch_of([bag()[i]]), shipped(name))
        assert bits_of(alone, 0) == bits_of(among, i), f"session {i}"


@rule_set
def test_permuted_sessions_give_permuted_results_bit_for_bit(name: str):
    order = np.random.default_rng(2).permutation(SESSIONS)
    among = recomputed(name)
    permuted = chain.run(batch_of([bag()[i] for i in order]), shipped(name))
    assert permuted.note_mask.tolist() == among.note_mask[order].tolist()
    for column, permuted_column in zip(among.session.values(), permuted.session.values(), strict=True):
        assert permuted_column.tobytes() == column[order].tobytes()
    runs = np.concatenate([np.arange(among.run_offsets[i], among.run_offsets[i + 1]) for i in order])
    for column, permuted_column in zip(among.run.values(), permuted.run.values(), strict=True):
        assert permuted_column.tobytes() == column[runs].tobytes()


@rule_set
@pytest.mark.parametrize("k", [0.5, 1.1, 1000.0])
def test_flows_times_k_give_flow_at_50_times_k_and_the_same_exponent(name: str, k: float):
    sessions = bag(sessions=2000)
    scaled = [
        {
            **session,
            "calibrations": [
                {
                    **each,
                    "fan_coefficient_m3_h": k * each.get("fan_coefficient_m3_h", np.nan),
                    "table": [
                        {**row, "calibration_flow_m3_h": k * row["calibration_flow_m3_h"]}
                        for row in each.get("table", [])
                    ],
                }
                for each in session.get("calibrations", [])
            ],
        }
        for session in changed(
            sessions,
            lambda session, run, point: (
                run,
                {
                    **point,
                    "readings": [
                        {**each, "flow_m3_h": None if each["flow_m3_h"] is None else k * each["flow_m3_h"]}
                        for each in point["readings"]
                    ],
                },
            ),
        )
    ]
    before, after = (chain.run(batch_of(each), shipped(name)) for each in (sessions, scaled))
    assert_close(after, before, ("exponent", "exponent_low", "exponent_high"))
    assert after.note_mask.tolist() == before.note_mask.tolist()
    for quantity in ("flow_50_m3_h", "flow_50_low_m3_h", "flow_50_high_m3_h", "flow_10_m3_h", "air_change_50_per_h"):
        np.testing.assert_allclose(after.session[quantity], k * before.session[quantity], rtol=CLOSE, err_msg=quantity)
    np.testing.assert_allclose(after.session["leakage_area_m2"], k * before.session["leakage_area_m2"], rtol=CLOSE)


@with_baseline
@pytest.mark.parametrize("shift_pa", [-30.0, 0.3, 100.0])
def test_a_constant_on_every_pressure_and_baseline_changes_nothing(name: str, shift_pa: float):
    """A gauge that reads too high by the same amount all along cancels in the difference.

    It does not cancel in what the crew saw, so shares may change.
    """
    sessions = bag(sessions=2001, baselines_known=True)

    def shift(session: Session, run: Session, point: Session) -> tuple[Session, Session]:
        baselines = ("baseline_before_pressure_pa", "baseline_after_pressure_pa")
        pressure = point.get("envelope_pressure_pa")
        return (
            {**run, **{key: run[key] + shift_pa for key in baselines}},
            {**point, "envelope_pressure_pa": None if pressure is None else pressure + shift_pa},
        )

    before, after = (chain.run(batch_of(each), shipped(name)) for each in (sessions, changed(sessions, shift)))
    assert_close(after, before, ("flow_50_m3_h", "exponent", "exponent_low", "air_change_50_per_h", "leakage_area_m2"))
    assert after.note_mask.tolist() == before.note_mask.tolist()
    assert np.isfinite(after.session["flow_50_m3_h"]).sum() > 250


@rule_set
def test_blowing_out_of_a_house_equals_blowing_into_its_mirror_image(name: str):
    """Turn the fan and every sign round and swap the air inside and outside: the same air passes fan and leaks."""
    other = {"depressurisation": "pressurisation", "pressurisation": "depressurisation"}
    turned_back = ("baseline_before_pressure_pa", "baseline_after_pressure_pa")
    sessions = tuple(
        session for session in bag(sessions=2000) if all(run["direction"] is not None for run in session["runs"])
    )

    def mirror(session: Session, run: Session, point: Session) -> tuple[Session, Session]:
        pressure = point.get("envelope_pressure_pa")
        return (
            {**run, "direction": other[run["direction"]], **{key: -run[key] for key in turned_back if key in run}},
            {**point, "envelope_pressure_pa": None if pressure is None else -pressure},
        )

    mirrored = [
        {
            **session,
            "indoor_temperature_c": session.get("outdoor_temperature_c"),
            "outdoor_temperature_c": session.get("indoor_temperature_c"),
            "indoor_relative_humidity": session.get("outdoor_relative_humidity"),
            "outdoor_relative_humidity": session.get("indoor_relative_humidity"),
        }
        for session in changed(sessions, mirror)
    ]
    before, after = (chain.run(batch_of(each), shipped(name)) for each in (sessions, mirrored))
    for quantity in ("flow_50_m3_h", "exponent", "flow_coefficient_m3_h", "leakage_area_m2"):
        assert after.session[quantity].tobytes() == before.session[quantity].tobytes(), quantity
    assert after.note_mask.tolist() == before.note_mask.tolist()
    assert np.isfinite(after.session["flow_50_m3_h"]).sum() > 200


@rule_set
def test_the_order_of_points_within_a_run_does_not_matter(name: str):
    rng = np.random.default_rng(3)
    sessions = bag(sessions=2000)
    shuffled = [
        {
            **session,
            "runs": [
                {**run, "points": list(rng.permutation(np.array(run["points"], dtype=object)))}
                for run in session["runs"]
            ],
        }
        for session in sessions
    ]
    before, after = (chain.run(batch_of(each), shipped(name)) for each in (sessions, shuffled))
    assert_close(after, before, ("flow_50_m3_h", "exponent", "leakage_area_m2"))
    assert after.note_mask.tolist() == before.note_mask.tolist()
