"""Sentences on how sure a result is: what its uncertainty comes from, and the best estimate in wind beside it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from interchange.report.heads import Units, shown, with_unit

# Words for the parts of the budget of uncertainty.
_PARTS = {
    "zero_noise": "noise of the baselines",
    "zero_shift": "baseline that moved",
    "point_noise": "noise of the points",
    "fitted_exponent": "slope of the line",
    "gauge_gain": "gauge gain",
    "gauge_offset": "gauge zero",
    "fan_flow": "fan flow",
    "assumed_exponent": "assumed exponent",
    "outdoor_temperature": "outdoor temperature not recorded",
    "indoor_temperature": "indoor temperature not recorded",
}
_LEAST_PERCENT = 0.05  # below it a part is not worth a word
_LEAST_SHARE = 0.005  # of the exponent, below which what is usual for houses has no say


def result_sentence(
    rule_set: str,
    flow_50_m3_h: float | None,
    interval_m3_h: Sequence[float],
    air_change_50_per_h: float | None,
    exponent: float | None,
    units: Units,
) -> str:
    """The result of a test by a rule set, with its 95 % interval; `exponent` is None where it was not measured."""
    if flow_50_m3_h is None:
        return f"By {rule_set}: no flow at 50 Pa could be worked out."
    said = f"By {rule_set}: {with_unit('flow_50_m3_h', flow_50_m3_h, units)} at 50 Pa"
    if not any(map(math.isnan, interval_m3_h)):
        low, high = (shown("flow_50_m3_h", end, units) for end in interval_m3_h)
        said += f" (95 %: {low} to {high})"
    if air_change_50_per_h is not None:
        said += f", {shown('air_change_50_per_h', air_change_50_per_h, units)} air changes an hour"
    return f"{said}, exponent {f'{exponent:.3f}' if exponent is not None else 'assumed'}."


def budget_sentence(pressure_pa: float, parts_percent: Mapping[str, float], total_percent: float) -> str:
    """Standard uncertainties [%] of the flow at a pressure [Pa], the greatest part first."""
    ranked = sorted(parts_percent.items(), key=lambda part: -part[1])
    said = [f"{_PARTS[name]} {value:.1f} %" for name, value in ranked if value >= _LEAST_PERCENT]
    return f"Standard uncertainty at {pressure_pa:g} Pa {total_percent:.1f} %: {', '.join(said)}."


def assumed_sentence(gauge_assumed: bool, fan_assumed: bool, gauge: str, fan: str) -> str:
    """Which accuracies are not on record and were taken for granted; empty where both are."""
    assumed = [words for words, is_so in ((gauge, gauge_assumed), (fan, fan_assumed)) if is_so]
    return f"Not recorded, taken for granted: {', '.join(assumed)}." if assumed else ""


def agreement_sentence(differs_at_pa: Mapping[float, float], by_noise: bool) -> str:
    """One sentence on the best estimate in wind, from its differences [%] at the pressures [Pa] where they matter.

    `by_noise` says whether the noise of the readings explains them.
    """
    if not differs_at_pa:
        return "The best estimate in wind, from the same readings, agrees with the result."
    said = " and ".join(
        f"{abs(d):.0f} % {'above' if d > 0 else 'below'} it at {p:g} Pa" for p, d in differs_at_pa.items()
    )
    why = (
        "the noise of the readings is large enough for that"
        if by_noise
        else "more than the noise of the readings explains"
    )
    return f"The best estimate in wind, from the same readings, lies {said}: {why}."


def prior_sentence(exponent_share: float, moved_percent: float) -> str:
    """How much of the estimate's exponent is what is usual for houses, and what that did to its flow at 10 Pa [%].

    Empty where it has no say.
    """
    if exponent_share < _LEAST_SHARE:
        return ""
    if exponent_share > 1.0 - _LEAST_SHARE:
        return "Its exponent is wholly that usual for houses: one point shows none."
    return (
        f"Of its exponent {100.0 * exponent_share:.0f} % is what is usual for houses, "
        f"which moved its flow at 10 Pa by {moved_percent:+.1f} %."
    )
