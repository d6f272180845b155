"""Checks of a test against a limit, one function a check: batch and leakage in, level and numbers out.

Every function takes a Batch, the Leakage computed from it, and its limits as keywords; it returns one entry per
session. `evaluate` runs those that a rule set asks for. Effects are what the finding does to the flow at 50 Pa [%],
by the power law: a pressure error of x Pa at 50 Pa moves the flow by n x / 50.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Protocol

import numpy as np

from interchange.analysis import baseline, ragged
from interchange.analysis.batch import Batch, Floats
from interchange.analysis.check import (
    Check,
    Flags,
    flow_effect_percent,
    judged,
    known_greatest,
    known_least,
    runs_with_points,
    worst_run,
)
from interchange.analysis.circumstances import (
    both_directions,
    plausible_air_changes,
    plausible_indoors,
    plausible_pressure,
    temperature_difference,
    temperature_times_height,
    wind_strength,
    within_fan_calibration,
)
from interchange.analysis.keywords import keyword_faults
from interchange.analysis.leakage import FLOW_PRESSURE_PA, Leakage, note_bit
from interchange.analysis.reported import reported_agrees, reported_coefficient_fits_flow, reported_flow_fits_volume
from interchange.analysis.reported_alone import (
    plausible_reported,
    plausible_sizes,
    reported_exponent_measured,
    reported_natural_rate,
    volume_fits_floor,
)
from interchange.analysis.reported_areas import reported_area_fits_flow, reported_area_stated
from interchange.analysis.water import water_in_line
from interchange.analysis.work import floats
from interchange.errors import Place, Problem, RuleSetError
from interchange.quantities import CHOICES, FAIL, MISSING, SUSPECT

ROUNDING_PA = 1e-9  # [Pa] what a difference of two readings in binary numbers may miss


class CheckRule(Protocol):
    """What a rule set says of one check."""

    @property
    def name(self) -> str:
        """Name in `CHECKS`."""

    @property
    def arguments(self) -> Mapping[str, Any]:
        """Keywords of the check's function."""

    @property
    def provenance(self) -> str:
        """How the limit is known."""


# --- what is there ---------------------------------------------------------------------------------------------------


def usable_flow(batch: Batch, leakage: Leakage) -> Check:
    """Whether there is a flow at 50 Pa at all."""
    flow = floats(leakage.session["flow_50_m3_h"])
    return judged(flow, np.isnan(flow), when_bad=MISSING)


def exponent_fitted(batch: Batch, leakage: Leakage) -> Check:
    """Whether the exponent was measured: missing where assumed, suspect from two points, which show no error."""
    assumed = leakage.session["exponent_assumed"] == 1
    points = worst_run(leakage, -floats(leakage.run["point_count"]), leakage.run["point_count"])
    exponent = floats(leakage.session["exponent"])
    few = judged(points, points < 3, when_bad=SUSPECT, unknown=np.isnan(exponent), cause="no_result")
    return replace(few, level=np.where(assumed, MISSING, few.level).astype(np.int8))


def temperatures_known(batch: Batch, leakage: Leakage) -> Check:
    """Whether both air temperatures are recorded; without them air densities cannot be reckoned with."""
    there = sum(~np.isnan(floats(batch.session[f"{side}_temperature_c"])) for side in ("indoor", "outdoor"))
    value = np.asarray(there, dtype=np.float64)
    return judged(value, value < 2, when_bad=MISSING, limit=2.0)


def direction_matches_pressure(batch: Batch, leakage: Leakage) -> Check:
    """Whether points have the sign their direction must give; value: points that have not.

    Inside minus outside is negative when the fan takes air out. Most points wrong means exchanged tubes or a wrong
    direction; a few mean points lost in the wind.
    """
    offsets = leakage.run_offsets
    wrong = floats(leakage.run["points_of_wrong_sign"])
    right = floats(leakage.run["point_count"])
    mostly = ragged.any_true(wrong > right, offsets)
    value = ragged.sums(wrong, offsets)
    unknown = ragged.any_true((leakage.run["direction"] < 0) & (wrong + right > 0), offsets)  # type: ignore[operator]
    found = judged(value, value > 0, when_bad=SUSPECT, limit=0.0, unknown=unknown, cause="direction_unknown")
    return replace(found, level=np.where(mostly & ~unknown, FAIL, found.level).astype(np.int8))


# --- points and fit --------------------------------------------------------------------------------------------------


def point_count(batch: Batch, leakage: Leakage, *, minimum: int = 5) -> Check:
    """Whether each run has enough usable points; value: those of the run with the fewest."""
    some = runs_with_points(batch)
    value = known_least(np.where(some, leakage.run["point_count"], np.nan), leakage.run_offsets)
    return judged(value, value < minimum, limit=minimum, when_unknown=MISSING, cause="no_points")


def lowest_pressure(
    batch: Batch,
    leakage: Leakage,
    *,
    lowest_pa: float = 10.0,
    baseline_multiple: float = 5.0,
    tolerance_pa: float = 1.0,
) -> Check:
    """Whether the lowest induced pressure [Pa] of each run stays clear of zero and of the baseline.

    The limit is the larger of `lowest_pa` and `baseline_multiple` times the baseline; value and limit are those of
    the run that misses it most.
    """
    value = floats(leakage.run["lowest_pressure_pa"])
    level = np.abs(_largest_baseline(batch))
    limit = np.fmax(lowest_pa, baseline_multiple * level)
    value, limit = worst_run(leakage, limit - value, value), worst_run(leakage, limit - value, limit)
    return judged(value, value < limit - tolerance_pa - ROUNDING_PA, limit=limit, cause="no_result")


def highest_pressure(batch: Batch, leakage: Leakage, *, highest_pa: float = 50.0, tolerance_pa: float = 1.0) -> Check:
    """Whether the highest induced pressure [Pa] of each run reaches far enough; value: that of the lowest run.

    Crews set the gauge's reading, baseline and all: -50 Pa with a baseline of -1 Pa are 49 Pa induced. The tolerance is
    for that: common practice, no source.
    """
    value = worst_run(leakage, -floats(leakage.run["highest_pressure_pa"]), leakage.run["highest_pressure_pa"])
    bad = value < highest_pa - tolerance_pa - ROUNDING_PA
    return judged(value, bad, limit=highest_pa, cause="no_result")


def pressure_reached(
    batch: Batch, leakage: Leakage, *, minimum_pa: float = 45.0, exponent_doubt: float = 0.05
) -> Check:
    """Whether a one-point test came near 50 Pa; value: induced pressure [Pa] of the run that stayed lowest.

    Effect: an exponent off by `exponent_doubt` moves the extrapolated flow by (50 / p)^doubt.

    References
    ----------
    [1] Error propagation of Q (50 / p)^n; the doubt of 0.05 from memory of ASTM E1827.

    """
    value = worst_run(leakage, -floats(leakage.run["highest_pressure_pa"]), leakage.run["highest_pressure_pa"])
    effect = 100.0 * np.expm1(exponent_doubt * np.abs(np.log(FLOW_PRESSURE_PA / value)))
    return judged(value, value < minimum_pa, limit=minimum_pa, effect_percent=effect, cause="no_result")


def exponent_range(batch: Batch, leakage: Leakage, *, low: float = 0.5, high: float = 1.0) -> Check:
    """Whether each fitted exponent is one that leaks can have; value: the one farthest out, limit: the nearer end.

    Openings that behave as orifices give 0.5, laminar cracks 1. Exchanged channels give about 0.36 to 0.46.
    """
    exponent = np.where(floats(leakage.run["exponent_assumed"]) == 1, np.nan, floats(leakage.run["exponent"]))
    score = np.maximum(low - exponent, exponent - high)
    value = worst_run(leakage, score, exponent)
    limit = np.where(value < (low + high) / 2.0, low, high)
    return judged(value, (value < low) | (value > high), limit=limit, cause="exponent_assumed")


def correlation(batch: Batch, leakage: Leakage, *, r2_minimum: float = 0.98) -> Check:
    """Whether the points lie on a line; value: r2 of the worst run. Two points always do, and are not judged."""
    value = floats(leakage.session["correlation_r2"])
    return judged(value, value < r2_minimum, limit=r2_minimum, cause="too_few_points")


def low_pressure_spread(
    batch: Batch, leakage: Leakage, *, limit_percent: float = 10.0, low_pressure_pa: float = 20.0
) -> Check:
    """Whether readings stood still at the low points; value: greatest spread over induced pressure [%].

    Points at 20 Pa and below are the first that wind takes: common practice, no source.
    """
    subtracted = np.nan_to_num(floats(leakage.run["baseline_pressure_pa"]))
    counts = ragged.counts(batch.point_offsets)
    removed = batch.point["baseline_removed"] == 1
    shift = np.where(removed, 0.0, np.repeat(subtracted, counts))
    induced = np.abs(floats(batch.point["envelope_pressure_pa"]) - shift)
    low = (induced > 0) & (induced <= low_pressure_pa) & (batch.point["dropped"] != 1)
    ratio = np.full(induced.size, np.nan)
    ratio[low] = 100.0 * floats(batch.point["envelope_pressure_spread_pa"])[low] / induced[low]
    point_of_session = batch.point_offsets[batch.run_offsets]
    value = known_greatest(ratio, point_of_session)
    without = np.where(ragged.any_true(low, point_of_session), "spread_not_recorded", "no_low_points")
    return judged(value, value > limit_percent, limit=limit_percent, when_bad=SUSPECT, cause=without)


# --- baseline --------------------------------------------------------------------------------------------------------


def _largest_baseline(batch: Batch) -> Floats:
    """Baseline value of largest magnitude of each run, among both means and their signed parts [Pa]."""
    return baseline.largest_magnitude(
        *(
            floats(batch.run[f"baseline_{when}_{what}_pa"])
            for what in ("pressure", "positive", "negative")
            for when in ("before", "after")
        )
    )


def baseline_missing(batch: Batch, leakage: Leakage, *, after_required: bool = True) -> Check:
    """Whether each run has its baselines; value: baselines of the run with the fewest.

    Missing where there is none, suspect where one of two asked for is absent.
    """
    there = sum(~np.isnan(floats(batch.run[f"baseline_{when}_pressure_pa"])) for when in ("before", "after"))
    some = runs_with_points(batch)
    value = known_least(np.where(some, there, np.nan), leakage.run_offsets)
    needed = 2.0 if after_required else 1.0
    by_source = (leakage.note_mask & note_bit("baseline_removed_by_source")) != 0
    unknown = np.isnan(value) | (by_source & (value == 0))
    cause = np.where(by_source, "baseline_removed_by_source", "no_points")
    found = judged(value, value < needed, when_bad=SUSPECT, limit=needed, unknown=unknown, cause=cause)
    return replace(found, level=np.where((value == 0) & ~unknown, MISSING, found.level).astype(np.int8))


def baseline_level(batch: Batch, leakage: Leakage, *, limit_pa: float = 5.0) -> Check:
    """Whether the house was near rest with the fan off; value: baseline of largest magnitude [Pa].

    Means before and after, and the means of their positive and of their negative readings, are each held against the
    limit. Effect: what it would do at 50 Pa if it were not subtracted.
    """
    largest = _largest_baseline(batch)
    value = worst_run(leakage, np.abs(largest), largest)
    effect = flow_effect_percent(leakage, value)
    return judged(value, np.abs(value) > limit_pa, limit=limit_pa, effect_percent=effect, cause="baseline_unknown")


def baseline_spread(batch: Batch, leakage: Leakage, *, limit_pa: float = 2.0) -> Check:
    """Whether the pressure stood still with the fan off; value: greatest standard deviation of a baseline [Pa].

    Effect: that of a pressure error of one standard deviation, a ceiling for averaged readings. A small spread proves
    neither a calm day nor accuracy: a damped line shows one too.
    """
    run = batch.run
    spread = np.fmax(floats(run["baseline_before_spread_pa"]), floats(run["baseline_after_spread_pa"]))
    value = worst_run(leakage, spread, spread)
    effect = flow_effect_percent(leakage, value)
    bad = value > limit_pa
    return judged(value, bad, when_bad=SUSPECT, limit=limit_pa, effect_percent=effect, cause="spread_not_recorded")


def baseline_shift(batch: Batch, leakage: Leakage, *, limit_pa: float = 2.0) -> Check:
    """Whether the baseline stayed where it was; value: after minus before [Pa], of the run that moved most.

    Effect: half the shift, by which the mean of both may miss the baseline at the points.
    """
    shift = baseline.baseline_shift_pa(
        floats(batch.run["baseline_before_pressure_pa"]), floats(batch.run["baseline_after_pressure_pa"])
    )
    value = worst_run(leakage, np.abs(shift), shift)
    effect = flow_effect_percent(leakage, value / 2.0)
    bad = np.abs(value) > limit_pa
    return judged(value, bad, when_bad=SUSPECT, limit=limit_pa, effect_percent=effect, cause="baseline_not_repeated")


# Those that look at what a record says, and not at what is made of its readings: made whether or not it is fitted.
OF_RECORDS: tuple[Callable[..., Check], ...] = (
    reported_flow_fits_volume,
    reported_coefficient_fits_flow,
    reported_area_stated,
    reported_area_fits_flow,
    reported_natural_rate,
    reported_exponent_measured,
    volume_fits_floor,
    plausible_sizes,
    plausible_reported,
)
# Those that are always made, and those that a rule set can ask for.
ALWAYS: dict[str, Callable[..., Check]] = {"usable_flow": usable_flow, "exponent_fitted": exponent_fitted}
_ASKED: tuple[Callable[..., Check], ...] = (
    direction_matches_pressure,
    point_count,
    lowest_pressure,
    highest_pressure,
    pressure_reached,
    exponent_range,
    correlation,
    baseline_missing,
    baseline_level,
    baseline_spread,
    baseline_shift,
    low_pressure_spread,
    temperatures_known,
    water_in_line,
    reported_agrees,
    wind_strength,
    temperature_times_height,
    temperature_difference,
    within_fan_calibration,
    both_directions,
    plausible_pressure,
    plausible_air_changes,
    plausible_indoors,
    *OF_RECORDS,
)
CHECKS = {function.__name__: function for function in _ASKED}
# Where a limit comes from one of these, breaking it can fail a test; any other limit reaches "suspect" at most.
FIRM_PROVENANCE = ("read", "physics")


def evaluate(
    batch: Batch, leakage: Leakage, checks: Sequence[CheckRule], kinds: Sequence[str] = ()
) -> dict[str, Check]:
    """The checks that a rule set asks for, and those always made, by name.

    `kinds` are those that the rule set is for: checks OF_RECORDS are made of them even where they are never fitted.
    A limit that was not read in its source, and is not physics, makes a test suspect at most. Raises RuleSetError
    where a check is unknown or given wrong keywords.
    """
    faults = check_faults(checks, "rule set")
    if faults:
        raise RuleSetError(*faults)
    not_fitted: Flags = (leakage.note_mask & note_bit("kind_not_fitted")) != 0
    not_meant = not_fitted & ~np.isin(batch.session["kind"], [CHOICES["kind"].index(kind) for kind in kinds])
    found = {name: function(batch, leakage) for name, function in ALWAYS.items()}
    for rule in checks:
        check = CHECKS[rule.name](batch, leakage, **rule.arguments)
        if rule.provenance not in FIRM_PROVENANCE:
            check = replace(check, level=np.where(check.level == FAIL, SUSPECT, check.level).astype(np.int8))
        of_record = CHECKS[rule.name] in OF_RECORDS
        found[rule.name] = check.unless(not_meant if of_record else not_fitted, "kind_not_fitted")
    return found


def check_faults(checks: Sequence[CheckRule], file: str) -> list[Problem]:
    """What is wrong with a list of checks: names and keywords. Empty where all is well."""
    faults: list[Problem] = []
    names = [rule.name for rule in checks]
    for number, rule in enumerate(checks, 1):
        place = Place(file, column=f"check {number}")
        if rule.name in names[: number - 1]:
            cure = "Remove one of the two."
            faults.append(Problem("rule-check", place, f"{rule.name!r} again", "each check once", cure, blocks="file"))
        elif rule.name in CHECKS:
            faults += keyword_faults(CHECKS[rule.name], rule.arguments, place)
        else:
            cure = "Correct the name of the check."
            faults.append(
                Problem("rule-check", place, repr(rule.name), "one of " + ", ".join(CHECKS), cure, blocks="file")
            )
    return faults
