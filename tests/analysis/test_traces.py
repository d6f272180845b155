"""What traces tell: noise split by semivariogram, the steadiest mean of two lines, averages replaced."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from build import batch, multi_point
from scipy.signal import lfilter

from interchange.analysis import traces
from interchange.analysis.robust import NoiseForm, Prior, estimate
from interchange.analysis.robust_noise import Facades, in_turn
from interchange.analysis.traces import Traced, first_line_share, fluctuations, in_place
from interchange.analysis.uncertainty import instruments
from interchange.analysis.work import begin
from interchange.quantities import CHOICES

KINDS = ("multi_point",)


def turbulent(rng: np.random.Generator, segments: int, seconds: int, sd: float, tau: float) -> Any:
    keep = np.exp(-1.0 / tau)
    drive = rng.normal(size=(segments, seconds)) * np.sqrt(1.0 - keep**2)
    drive[:, 0] /= np.sqrt(1.0 - keep**2)
    return sd * lfilter([1.0], [1.0, -keep], drive, axis=1)


def test_turbulence_and_white_noise_are_told_apart_in_short_segments() -> None:
    # 400 segments of 40 s: S 2 Pa, tau 8 s, w 0.5 Pa, each about a mean of its own; then white noise alone
    rng = np.random.default_rng(3)
    series = turbulent(rng, 400, 40, 2.0, 8.0) + rng.normal(0, 0.5, (400, 40)) + rng.normal(0, 50, (400, 1))
    flat = np.concatenate([series.ravel(), rng.normal(0, 0.5, 16_000)])
    offsets, sessions = np.arange(801) * 40, np.array([0, 400, 800])
    found = fluctuations(flat, offsets, sessions)
    assert found.turbulent_pa[0] == pytest.approx(2.0, rel=0.08)
    assert found.time_scale_s[0] == pytest.approx(8.0, rel=0.15)
    assert found.white_pa[0] == pytest.approx(0.5, rel=0.2)
    assert np.hypot(found.turbulent_pa[1], found.white_pa[1]) == pytest.approx(0.5, rel=0.05)
    assert found.turbulent_pa[1] < 0.15
    alone = fluctuations(flat[16_000:], offsets[:401], sessions[:2])
    assert alone.white_pa[0] == pytest.approx(found.white_pa[1], rel=1e-12)


def test_a_ramp_of_one_pascal_a_second_has_the_semivariogram_of_its_lags() -> None:
    gamma, pairs = traces._semivariogram(np.arange(20.0), np.array([0, 12, 20]), np.array([0, 2, 2]), 3)
    assert gamma[:, 0].tolist() == [0.5, 2.0, 4.5]  # lag^2 / 2, never across the segments
    assert pairs.tolist() == [[18, 0], [16, 0], [14, 0]]


def test_sessions_without_readings_tell_nothing() -> None:
    found = fluctuations(np.arange(10.0), np.array([0, 10]), np.array([0, 0, 1]))
    assert np.isnan(found.turbulent_pa).tolist() == [True, False] or np.isnan(found.turbulent_pa).all()
    assert np.isnan(fluctuations(np.arange(3.0), np.array([0, 3]), np.array([0, 1])).white_pa).all()


def test_the_steadiest_mean_of_two_lines_weighs_them_by_their_variances() -> None:
    # independent lines of 1 and 2 Pa: a = 4 / 5; one that is the other and more: all of the steady one; alike: half
    rng = np.random.default_rng(4)
    first, second = rng.normal(0, 1, 50_000), rng.normal(0, 2, 50_000)
    offsets, sessions = np.arange(0, 50_001, 50), np.array([0, 1000])
    assert first_line_share(first, second, offsets, sessions) == pytest.approx([0.8], abs=0.02)
    assert first_line_share(first + 2 * second, second, offsets, sessions).tolist() == [0.0]
    assert first_line_share(first, first, offsets, sessions).tolist() == [0.5]


def test_what_traces_say_stands_in_place_of_averages_and_their_silence_does_not() -> None:
    readings = batch(multi_point(), multi_point(baseline_pa=-2.0))
    told = Traced(before_pa=np.array([np.nan, -5.0]), before_s=np.array([np.nan, 90.0]))
    found = in_place(readings, told)
    assert found.run["baseline_before_pressure_pa"].tolist() == [-1.0, -5.0]
    assert found.run["baseline_after_pressure_pa"].tolist() == [-1.0, -2.0]
    assert found.run["baseline_before_duration_s"][1] == 90.0
    assert in_place(readings, Traced()) is readings


def test_points_get_back_the_baseline_their_source_took_before_another_is_used() -> None:
    raw, gone, expected = multi_point(), multi_point(), multi_point()
    expected["runs"][0]["baseline_before_pressure_pa"] = -1.7
    for one in gone["runs"][0]["points"]:
        one["envelope_pressure_pa"] += 1.0
        one["baseline_removed"] = True
    told = Traced(before_pa=np.array([-1.7]))
    found = [estimate(begin(batch(one), KINDS), traced=told).session for one in (raw, gone)]
    flow = estimate(begin(batch(expected), KINDS)).session["robust_flow_10_m3_h"]
    assert found[0]["robust_flow_10_m3_h"] == pytest.approx(flow, rel=1e-9)
    assert found[1]["robust_flow_10_m3_h"] == pytest.approx(flow, rel=1e-9)


def test_starts_that_are_recorded_rule_and_those_of_the_usual_order_change_nothing() -> None:
    # baseline of 60 s, ten points of 20 s, baseline: 20 s apart
    session = multi_point()
    session["runs"][0]["points"][3]["envelope_pressure_pa"] += 0.8
    work = begin(batch(session), KINDS)
    usual = Traced(
        before_start_s=np.array([7.0]),
        point_start_s=87.0 + 40.0 * np.arange(10),
        after_start_s=np.array([487.0]),
    )
    plain = estimate(work).session
    same = estimate(work, traced=usual).session
    assert same["robust_flow_10_high_m3_h"] == pytest.approx(plain["robust_flow_10_high_m3_h"], rel=1e-12)
    apart = Traced(usual.fluctuations, *(10 * np.asarray(part) for part in (usual.before_start_s, usual.after_start_s)))
    unlike = estimate(work, traced=Traced(None, apart.before_start_s, apart.after_start_s, 10 * usual.point_start_s))
    assert unlike.session["robust_flow_10_high_m3_h"] != pytest.approx(plain["robust_flow_10_high_m3_h"], rel=1e-6)
    assert in_turn(np.array([[60.0], [20.0]]), np.array([[np.nan], [5.0]]), 20.0).tolist() == [[0.0], [80.0]]


def test_fluctuations_of_traces_rule_the_width() -> None:
    work = begin(batch(multi_point(), multi_point()), KINDS)
    loud = traces.Fluctuations(np.array([np.nan, 3.0]), np.array([np.nan, 10.0]), np.array([np.nan, 0.1]))
    zero = np.zeros(2)
    widths = [
        np.log(found["robust_flow_10_high_m3_h"] / found["robust_flow_10_low_m3_h"])
        for told in (Traced(), Traced(loud))
        for found in [estimate(work, traced=told, instruments=instruments(zero, zero, zero)).session]
    ]
    assert widths[0][0] == widths[1][0]
    assert widths[1][1] > 1.5 * widths[0][1]


# --- wind on the facades ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("direction", ["depressurisation", "pressurisation"])
def test_readings_moved_by_wind_on_the_facades_as_the_model_says_are_moved_back(direction: str) -> None:
    # spreads of 2 Pa in all: W 2 x 2 Pa; zero -1 Pa, lifted by 0.12 W, points at (h^2 + 0.35 W^2)^(1/2), n as the prior
    tau = 10.0
    session = multi_point(direction, arrangement="open_end")
    run = session["runs"][0]
    wind = 2.0 * 2.0
    sign = 1.0 if direction == "pressurisation" else -1.0
    for when in ("before", "after"):
        run |= {f"baseline_{when}_spread_pa": 2.0 * _left(60.0, tau), f"baseline_{when}_duration_s": 60.0}
    for one, pressure in zip(run["points"], (60.0, 55.0, 50.0, 45.0, 40.0, 35.0, 30.0, 25.0, 20.0, 15.0), strict=True):
        felt = np.sqrt(pressure**2 + 0.35 * wind**2)
        one |= {"envelope_pressure_pa": -1.0 + 0.12 * wind + sign * felt}
        one |= {"envelope_pressure_spread_pa": 2.0 * _left(20.0, tau), "averaging_s": 20.0}
    prior = Prior(forms=(NoiseForm(tau, 0.0, 0.2, 1.0),))
    found = estimate(begin(batch(session), KINDS), prior=prior).session
    assert found["robust_exponent"] == pytest.approx([0.65], abs=1e-6)
    assert found["robust_flow_10_m3_h"] == pytest.approx([200.0 * 10.0**0.65], rel=1e-6)
    assert found["robust_zero_pressure_pa"] == pytest.approx([-1.0], abs=1e-6)
    still = Prior(forms=(NoiseForm(tau, 0.0, 0.2, 0.0),))
    plain = estimate(begin(batch(session), KINDS), prior=still).session
    assert abs(np.log(plain["robust_flow_10_m3_h"][0] / (200.0 * 10.0**0.65))) > 0.01


def _left(seconds: float, tau: float) -> float:
    a = tau / seconds
    return float(np.sqrt(1.0 - 2.0 * a * (1.0 - a * (1.0 - np.exp(-1.0 / a)))))


def test_each_arrangement_has_its_own_factors_and_an_untold_one_is_a_middle_that_widens() -> None:
    codes = np.array([*range(len(CHOICES["arrangement"])), -1])
    corrected, allowed, lasting = Facades().of(codes)
    assert dict(zip(CHOICES["arrangement"], corrected, strict=False)) == {
        "open_end": 2.0,
        "branched": 4.0,
        "several_facades": 4.0,
        "sheltered_end": 4.0,
        "unknown": 2.5,
    }
    assert (corrected[-1], allowed.tolist()) == (2.5, [0, 0, 0, 0, 2, 2])
    assert lasting.tolist() == [0.8, 0.5, 0.4, 0.7, 0.6, 0.6]
