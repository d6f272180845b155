"""Best estimate in wind: the error is in the pressure, in pascal, it is shared, and its size is itself uncertain.

    x_j = mu + delta on_j + k v_j + s_j (h_j^2 + (1 - n) W^2)^(1/2) + e_j,    h_j = (q_j / C)^(1/n)

x_j mean of the signed reading of a point or of a baseline (h = 0, W = 0, on = 0), s_j = -1 depressurising and +1
pressurising, mu the zero, delta what the running fan changes of it, v_j how far the point is gustier than the rest,
C = C0 exp(+-D/2) with D the difference of directions where both were run, W what wind makes of the pressures at the
facades (`robust_noise`). Errors e of means have the covariance of averaged turbulence, plus a slow part shared over
minutes, plus gauge and flow readings. delta, k and the slow part are marginalised in that covariance; how large noise,
slow part, delta and W are is integrated over on a grid. Low points with a corrected pressure of the wrong sign stay
in: to leave them out would choose the errors of one sign.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import air, baseline, noise, ragged, robust_fit, uncertainty
from interchange.analysis.air import Number
from interchange.analysis.batch import Floats, Ints
from interchange.analysis.noise import NOISE, NoiseDefaults, Segments, Turbulence
from interchange.analysis.points import EXTRAPOLATED_BASIS
from interchange.analysis.powerlaw import from_log
from interchange.analysis.robust_fit import Observations, Posterior, Priors, Wind, summed
from interchange.analysis.robust_noise import STILL_S, Facades, Noise, NoiseForm, covariance, in_turn, induced, rounded
from interchange.analysis.traces import Traced, in_place
from interchange.analysis.uncertainty import PRESSURES_PA, Instruments
from interchange.analysis.work import PRESSURISATION, Work, floats

TESTS_AT_ONCE = 512  # [1] so that the arrays of a group stay within the processor's cache
SCALE_NODES = 5  # [1] noise levels, from -2 to +2 standard deviations of their logarithm
UNSAID_SHARE = 0.99  # [1] of the prior in the exponent, above which the readings say nothing of it


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed before the readings, for one stock of houses or with an entry for each session.

    exponent, exponent_sd [1]: 0.65 and 0.06, from published large data sets (Walker, Sherman and others 2013; Orme,
    Liddament and Wilson, AIVC TN 44; from memory). direction_sd [1]: of ln(C out / C in). zero_sd_pa: of the zero
    where no baseline is recorded [Pa]. forms: of noise, equally likely; the first is that of a gauge in still air,
    whose readings share nothing. facades: what wind does to the house, by arrangement of the line. gust_ratio [1]:
    standard deviation of k in parts of that of turbulence. slow_s [s]: time scale of the slow part. Those of noise are
    orders of magnitude from simulated tests, no source.
    """

    exponent: Number = 0.65
    exponent_sd: Number = 0.06
    direction_sd: float = 0.04
    zero_sd_pa: float = 3.0
    forms: tuple[NoiseForm, ...] = (
        NoiseForm(STILL_S, 0.0, 0.0),
        NoiseForm(5.0, 0.2, 0.13, 0.7),
        NoiseForm(10.0, 0.4, 0.26, 1.0),
        NoiseForm(10.0, 0.55, 0.4, 1.4),
    )
    facades: Facades = field(default_factory=Facades)
    gust_ratio: float = 0.5
    slow_s: float = 300.0


PRIOR = Prior()


@dataclass(frozen=True, slots=True)
class Estimate:
    """Results of each session by the names of `quantities`; NaN where there is none.

    `settled` is false where the iterations did not come to rest; such a session has no result, nor has one whose limits
    no number can hold. `direction_count` tells whether the result is that of one direction or of the mean of both.
    `posterior` is what the results are drawn from, shape (nodes, sessions), without the accuracy of instruments; its
    weights are 0 where there is no result. `noise_told`: whether spreads or traces tell the noise. `log_reference`:
    ln of the factor to reference conditions of each run as A + B n, which its levels include.
    """

    session: Mapping[str, Floats]
    settled: NDArray[np.bool_]
    direction_count: Ints
    posterior: Posterior
    noise_told: NDArray[np.bool_]
    log_reference: tuple[Floats, Floats]


@dataclass(frozen=True, slots=True)
class _Flat:
    """Baselines and points of all sessions, in the order in which they are taken to have been held."""

    offsets: Ints  # session
    pressure: Floats
    sign: Floats
    log_flow: Floats
    log_shift: Floats
    apart: Floats
    segment: Segments
    start_s: Floats  # NaN where not recorded
    gust_pa: Floats  # spread, or what a trace tells of every one of a session


def estimate(
    work: Work,
    *,
    prior: Prior = PRIOR,
    defaults: NoiseDefaults = NOISE,
    instruments: Instruments | None = None,
    reference_temperature_c: float | None = None,
    reference_pressure_pa: float = air.STANDARD_PRESSURE_PA,
    viscosity: bool = False,
    humidity: bool = False,
    traced: Traced | None = None,
    unrecorded_sd: Number = 0.0,
) -> Estimate:
    """Estimate leakage of each session from flows [m3/h] as corrected so far and pressures [Pa] as recorded.

    Points count that the source does not drop, with a pressure and a flow above zero that is not extrapolated. Times
    are not recorded unless `traced` tells them, so the order in a run is taken to be: baseline before, points from the
    greatest flow to the least, baseline after. A baseline the source subtracted is added back, or stands as one of
    0 Pa of usual length if it is not stated. With a reference temperature [degrees Celsius], results are those of dry
    air of reference, as in `steps.to_reference_conditions`. Intervals hold 95 % and include what `instruments` says
    (defaults if None), and `unrecorded_sd` [1] of the log flow, for each session, for what its record does not tell.

    Assumes one exponent for both directions, and that flow readings are right but for instruments and a fraction of a
    per cent. A single point takes its exponent from the prior. What wind does to the pressures at the facades is
    corrected; where the arrangement of the reference line is not recorded, by a middle of all, and the interval is
    wider (`robust_noise.Facades`).

    References
    ----------
    [1] Sherman and Palmiter (1995); Prignon and others (2019 to 2021): errors of zero-flow and point pressures (from
        memory). Rasmussen and Williams (2006): covariance of correlated errors (from memory).

    """
    told = Traced() if traced is None else traced
    work = replace(work, batch=in_place(work.batch, told))
    log_reference = _reference(work, reference_temperature_c, reference_pressure_pa, viscosity, humidity)
    flat, direction_count = _flatten(work, told, defaults, *log_reference)
    *ratios, lasting_ratio = prior.facades.of(work.batch.session["arrangement"])
    level, forms = _levels(work, told, prior, defaults, lasting_ratio)
    corrected_pa, allowed_pa = (ratio * level.deviation_pa for ratio in ratios)
    allowed_pa = np.where(level.told, allowed_pa, np.hypot(allowed_pa, corrected_pa))
    corrected_pa = np.where(level.told, corrected_pa, 0.0)
    if told.facade_pa is not None:
        known_pa = np.isfinite(told.facade_pa)
        corrected_pa = np.where(known_pa, told.facade_pa, corrected_pa)
        allowed_pa = np.where(known_pa, 0.0, allowed_pa)
    count = direction_count.size
    level_spread = np.where(level.told, defaults.level_spread, defaults.level_spread_unrecorded)
    exponent, exponent_sd = (np.broadcast_to(np.asarray(v, float), count) for v in (prior.exponent, prior.exponent_sd))
    gear = uncertainty.default_instruments(count) if instruments is None else instruments
    beyond = np.broadcast_to(np.asarray(unrecorded_sd, np.float64), count)
    found = {name: np.full(count, np.nan) for name in _NAMES}
    settled = np.ones(count, dtype=np.bool_)
    whole = robust_fit.empty(SCALE_NODES * len(prior.forms), count)
    size = ragged.counts(flat.offsets)
    for length in np.unique(size[size > 0]):
        alike = np.flatnonzero(size == length)
        for start in range(0, alike.size, TESTS_AT_ONCE):
            here = alike[start : start + TESTS_AT_ONCE]
            rows = flat.offsets[:-1][here] + np.arange(length)[:, None]
            spread = level_spread[here]
            scale = np.exp(np.linspace(-2.0, 2.0, SCALE_NODES)[:, None] * spread)
            seen = Observations(
                *(part[rows] for part in (flat.pressure, flat.sign, flat.log_flow, flat.log_shift, flat.apart))
            )
            baseline_there = summed((seen.sign == 0).astype(np.float64)) > 0
            priors = Priors(
                exponent[here],
                1.0 / exponent_sd[here] ** 2,
                np.where(baseline_there, 0.0, prior.zero_sd_pa**-2),
                np.full(here.size, prior.direction_sd**-2),
            )
            held = flat.segment.of(rows)
            begun = in_turn(held.duration_s, flat.start_s[rows], defaults.gap_s)
            felt = Noise(held, begun, flat.gust_pa[rows], *(part[..., here] for part in forms))
            facade_pa = (corrected_pa[here], allowed_pa[here])
            posterior = _posterior(seen, felt, priors, scale, prior, defaults, facade_pa)
            of_group = _told(posterior, priors, gear.of(here), level.deviation_pa[here], beyond[here])
            for name, values in of_group.items():
                found[name][here] = values
            settled[here] = posterior.settled >= robust_fit.SETTLED_WEIGHT
            whole.put(here, posterior)
    known = settled & np.all([np.isfinite(found[name]) for name in _NAMES if name.startswith("robust_flow")], axis=0)
    for name in _NAMES:
        found[name] = np.where(known, found[name], np.nan)
    whole.weight[:, ~known] = 0.0
    return Estimate(found, settled, direction_count, whole, level.told, log_reference)


def _reference(
    work: Work, temperature_c: float | None, pressure_pa: float, viscosity: bool, humidity: bool
) -> tuple[Floats, Floats]:
    """ln of the factor to reference conditions as A + B n, for each run; 0 where not asked for or unknown."""
    nothing = np.zeros(work.direction.size)
    if temperature_c is None:
        return nothing, nothing
    density = work.leak_air_kg_m3(work.barometer_pa, humidity)
    heavier = np.log(density / air.air_density_kg_m3(temperature_c, pressure_pa))
    constant, slope = heavier, -heavier
    if viscosity:
        thicker = np.log(air.dynamic_viscosity_pa_s(work.leak_air_c) / air.dynamic_viscosity_pa_s(temperature_c))
        constant, slope = constant - thicker, slope + 2.0 * thicker
    return np.where(np.isnan(constant), 0.0, constant), np.where(np.isnan(slope), 0.0, slope)


def _flatten(
    work: Work, traced: Traced, defaults: NoiseDefaults, constant: Floats, slope: Floats
) -> tuple[_Flat, Ints]:
    batch = work.batch
    per_run = ragged.counts(batch.point_offsets)
    run_of_point = np.repeat(np.arange(per_run.size), per_run)
    shown = floats(batch.point["envelope_pressure_pa"])
    flow = ragged.sums(work.flow_m3_h, batch.reading_offsets)
    extrapolated = ragged.any_true(batch.reading["flow_basis"] == EXTRAPOLATED_BASIS, batch.reading_offsets)
    usable = work.fitted[run_of_point] & (batch.point["dropped"] != 1) & ~extrapolated
    usable &= np.isfinite(shown) & (flow > 0)
    ran = ragged.any_true(usable, batch.point_offsets)

    ends = [floats(batch.run[f"baseline_{when}_pressure_pa"]) for when in ("before", "after")]
    subtracted = np.asarray(batch.point["baseline_removed"]) == 1
    mean = baseline.mean_baseline_pa(*ends)
    unstated = np.isnan(mean) & ragged.any_true(subtracted, batch.point_offsets)
    ends[0] = np.where(unstated, 0.0, ends[0])
    pressure = shown + np.where(subtracted & ~np.isnan(mean)[run_of_point], mean[run_of_point], 0.0)

    inward = work.direction == PRESSURISATION
    total = ragged.sums(np.where(usable, shown, 0.0), batch.point_offsets)
    sign_of_run = np.where(work.direction < 0, np.where(total > 0, 1.0, -1.0), np.where(inward, 1.0, -1.0))
    directions = [ragged.any_true(ran & (work.direction == code), batch.run_offsets) for code in (0, 1)]
    both = directions[0] & directions[1]
    session_of_run = np.repeat(np.arange(both.size), ragged.counts(batch.run_offsets))
    apart = np.where(both[session_of_run], np.where(inward, 1.0, -1.0), 0.0)

    runs = np.arange(per_run.size)
    empty = np.zeros(per_run.size)
    log_flow = np.log(np.where(usable, flow, 1.0))
    segments = noise.of_batch(batch, defaults)
    parts = (  # run, order in it, whether it counts, pressure, sign, log flow: before, points, after
        (runs, 0, ran & ~np.isnan(ends[0]), ends[0], empty, empty),
        (run_of_point, 1, usable, pressure, sign_of_run[run_of_point], log_flow + constant[run_of_point]),
        (runs, 2, ran & ~np.isnan(ends[1]), ends[1], empty, empty),
    )
    kept = np.concatenate([part[2] for part in parts])
    run, held, sign, logs = (np.concatenate([part[i] for part in parts])[kept] for i in (0, 3, 4, 5))
    place = np.concatenate([np.full(part[0].size, part[1]) for part in parts])[kept]
    order = np.lexsort((np.abs(held), -logs, place, run))
    at = (segments[0], segments[2], segments[1])
    stretch = Segments(
        *(
            np.concatenate([getattr(s, name) for s in at])[kept][order]
            for name in ("duration_s", "spread_pa", "least_share")
        )
    )

    def told(name: str) -> Floats:
        columns = (getattr(traced, f"{when}_{name}") for when in ("before", "point", "after"))
        filled = [np.full(part[0].size, np.nan) if c is None else c for c, part in zip(columns, parts, strict=True)]
        return np.asarray(np.concatenate(filled)[kept][order])

    run = run[order]
    offsets = np.searchsorted(session_of_run[run], np.arange(both.size + 1)).astype(np.int64)
    step = told("step_pa")
    stepped = ragged.spread_out(ragged.sums(np.isnan(step), offsets) == 0, offsets)
    on = sign[order] != 0
    flat = _Flat(
        offsets,
        held[order],
        sign[order],
        logs[order],
        np.where(on, slope[run], 0.0),
        np.where(on, apart[run], 0.0),
        stretch,
        told("start_s"),
        np.where(stepped, step, stretch.spread_pa),
    )
    return flat, directions[0].astype(np.int64) + directions[1]


def _levels(
    work: Work, traced: Traced, prior: Prior, defaults: NoiseDefaults, lasting_ratio: Floats
) -> tuple[Turbulence, tuple[Floats, Floats, Floats]]:
    """Level of noise of each session; by form its deviation [Pa] and time scale [s], and white noise [Pa2 s].

    Traces rule where they tell; a form of readings that share nothing keeps all the noise the spreads show.
    """
    level = noise.turbulence(work.batch, defaults)
    count = level.told.size
    traces = traced.fluctuations
    silent = np.full(count, np.nan)
    turbulent, scale, white = (
        (silent, silent, silent) if traces is None else (traces.turbulent_pa, traces.time_scale_s, traces.white_pa)
    )
    seen = np.isfinite(turbulent)
    deviation, time_scale = [], []
    for form in prior.forms:
        by_spreads = noise.turbulence(work.batch, replace(defaults, time_scale_s=form.time_scale_s)).deviation_pa
        ruled = seen & (form.time_scale_s > STILL_S)
        all_of_it = np.where(seen & ~level.told, np.hypot(turbulent, white), by_spreads)
        lasting = np.where(level.told & (form.time_scale_s > STILL_S), lasting_ratio, 1.0)
        deviation.append(np.where(ruled, turbulent, lasting * all_of_it))
        time_scale.append(np.where(ruled, scale, form.time_scale_s))
    level = Turbulence(np.where(seen, np.hypot(turbulent, white), level.deviation_pa), level.told | seen, level.seconds)
    return level, (np.stack(deviation), np.stack(time_scale), np.nan_to_num(white) ** 2)


def _posterior(
    seen: Observations,
    found: Noise,
    priors: Priors,
    scale: Floats,
    prior: Prior,
    defaults: NoiseDefaults,
    facade_pa: tuple[Floats, Floats],
) -> Posterior:
    """Fit of a group; `facade_pa` holds the usual W [Pa], corrected for and only allowed for."""
    ratio = np.array([form.facade_ratio for form in prior.forms])[:, None]
    corrected, allowed = (ratio * part for part in facade_pa)
    rise = prior.facades.zero_rise
    induced_pa = induced(seen, priors.exponent)
    effects = induced_pa, rounded(seen, induced_pa, allowed, priors.exponent), rise * allowed
    matrix = covariance(found, seen, prior.forms, prior.gust_ratio, prior.slow_s, *effects, priors.exponent, defaults)
    return robust_fit.fit(seen, matrix, scale, priors, Wind(corrected, rise * corrected))


_FLOWS = tuple(f"robust_flow_{p:.0f}" for p in PRESSURES_PA)
_NAMES = (
    *(f"{flow}{end}_m3_h" for flow in _FLOWS for end in ("", "_low", "_high")),
    *(f"robust_prior_moved_flow_{p:.0f}_percent" for p in PRESSURES_PA),
    "robust_flow_coefficient_m3_h",
    "robust_exponent",
    "robust_exponent_low",
    "robust_exponent_high",
    "robust_exponent_prior_share",
    "robust_prior_moved_exponent",
    "robust_zero_pressure_pa",
    "robust_turbulence_pa",
)


def _told(
    posterior: Posterior, priors: Priors, gear: Instruments, level_pa: Floats, unrecorded_sd: Floats
) -> dict[str, Floats]:
    """Results of a group by name."""
    weight = posterior.weight
    level, exponent = summed(weight * posterior.level), summed(weight * posterior.exponent)
    exponent_variance = summed(weight * posterior.exponent_variance)
    share = exponent_variance * priors.exponent_precision
    said = share < UNSAID_SHARE
    moved = np.where(said, share / np.where(said, 1.0 - share, 1.0) * (priors.exponent - exponent), np.nan)
    slope = summed(weight * posterior.covariance) / exponent_variance
    deviation = np.sqrt(posterior.exponent_variance)
    found = {
        "robust_exponent": exponent,
        "robust_exponent_low": robust_fit.mixture_quantile(0.025, weight, posterior.exponent, deviation),
        "robust_exponent_high": robust_fit.mixture_quantile(0.975, weight, posterior.exponent, deviation),
        "robust_flow_coefficient_m3_h": from_log(level - exponent * np.log(robust_fit.PIVOT_PA)),
        "robust_exponent_prior_share": np.minimum(share, 1.0),
        "robust_prior_moved_exponent": moved,
        "robust_zero_pressure_pa": summed(weight * posterior.zero_pa),
        "robust_turbulence_pa": level_pa * np.exp(summed(weight * posterior.log_scale)),
    }
    for pressure, flow in zip(PRESSURES_PA, _FLOWS, strict=True):
        away = np.log(pressure / robust_fit.PIVOT_PA)
        mean = posterior.level + away * posterior.exponent
        variance = posterior.level_variance + away * (2.0 * posterior.covariance + away * posterior.exponent_variance)
        systematic = gear.log_flow_sd(exponent, pressure)
        deviation = np.sqrt(np.maximum(variance, 0.0) + systematic**2 + unrecorded_sd**2)
        found[f"{flow}_m3_h"] = from_log(level + away * exponent)
        found[f"{flow}_low_m3_h"] = from_log(robust_fit.mixture_quantile(0.025, weight, mean, deviation))
        found[f"{flow}_high_m3_h"] = from_log(robust_fit.mixture_quantile(0.975, weight, mean, deviation))
        found[f"robust_prior_moved_flow_{pressure:.0f}_percent"] = 100.0 * np.expm1((slope + away) * moved)
    return found
