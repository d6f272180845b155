"""What can be said of single reported values and sizes: natural rates, assumed exponents, values no house has.

A value outside what houses can have, which one slip would bring to what they usually have, looks like that slip: a
guess, so these checks make a record suspect at most. Ranges are common practice, no source, unless said otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.batch import Batch, Floats
from interchange.analysis.check import Check, Flags, judged
from interchange.analysis.leakage import Leakage
from interchange.analysis.reported import flow_at_50_m3_h
from interchange.analysis.slips import NONE, log_rounding
from interchange.analysis.work import floats
from interchange.quantities import CHOICES, MISSING, NOT_EVALUATED, SUSPECT
from interchange.units import SLIPS

# [1] exponents that are taken for granted where none is measured: 0.65 (ASTM E1827, from memory; typical in ASHRAE
# Handbook-Fundamentals, chapter 16, read), the others common practice, no source
CUSTOMARY_EXPONENTS = (0.65, 0.66, 0.67, 0.6)
SAME = 1e-9  # [1] numbers this near are the same
_ONE_POINT, _TWO_POINT = (CHOICES["kind"].index(kind) for kind in ("single_point", "two_point"))
_NOT_A_HOUSE = CHOICES["building_type"].index("non_residential")


@dataclass(frozen=True, slots=True)
class Usual:
    """What most houses have of a quantity, and the kind of slip to look for; none where it has no unit."""

    low: float
    high: float
    slip: str | None


# The names are those of details: what is absent there is not outside.
_SIZES: Mapping[str, Usual] = {
    "volume_m3": Usual(80.0, 1500.0, "volume"),
    "floor_area_m2": Usual(30.0, 500.0, "area"),
    "envelope_area_m2": Usual(80.0, 1200.0, "area"),
    "height_m": Usual(2.2, 12.0, "length"),
}
_REPORTED: Mapping[str, Usual] = {
    "reported_flow_m3_h": Usual(100.0, 15_000.0, "flow"),
    "reported_flow_pressure_pa": Usual(45.0, 80.0, "pressure"),
    "reported_air_change_50_per_h": Usual(0.5, 30.0, None),
    "reported_natural_air_change_per_h": Usual(0.02, 2.0, None),
    "reported_exponent": Usual(0.5, 0.9, None),
    "reported_leakage_area_m2": Usual(0.003, 0.4, "opening"),
}


def reported_natural_rate(
    batch: Batch, leakage: Leakage, *, low_ratio: float = 10.0, high_ratio: float = 30.0
) -> Check:
    """Whether natural air changes and those at 50 Pa are each what they say; value: rate at 50 Pa over natural rate.

    By the rule of thumb it is about 20 (Sherman 1987, read of), 10 to 30 by place and house. Equal values are one
    value written twice; one the wrong way round are exchanged. Details: the rates; same, exchanged (1 where so).
    """
    session = batch.session
    at_50, natural = (floats(session[f"reported_{name}_per_h"]) for name in ("air_change_50", "natural_air_change"))
    by_flow = flow_at_50_m3_h(batch)[0] / floats(session["volume_m3"])
    at_50 = np.where(np.isnan(at_50), by_flow, at_50)
    ratio = at_50 / natural
    rounding = np.exp(log_rounding(natural, most=0.5) + log_rounding(at_50))
    check = judged(
        ratio,
        (ratio < low_ratio / rounding) | (ratio > high_ratio * rounding),
        when_bad=SUSPECT,
        limit=np.where(ratio < low_ratio, low_ratio, high_ratio),
        cause=np.where(np.isnan(natural), "not_reported", "nothing_reported"),
    )
    same = np.abs(np.log(ratio)) < 0.05
    exchanged = (ratio >= 1.0 / high_ratio) & (ratio <= 1.0 / low_ratio)
    details = {"at_50_per_h": at_50, "natural_per_h": natural, "same": floats(same), "exchanged": floats(exchanged)}
    return replace(check, details=details)


def reported_exponent_measured(batch: Batch, leakage: Leakage) -> Check:
    """Whether a reported exponent was measured: missing where the source, or one point, says that it was assumed.

    One of CUSTOMARY_EXPONENTS to the last digit, with r2 of exactly 1, was most likely assumed: a line through
    readings hardly ever fits so well, one drawn from a single reading always does. Two points always lie on their
    line, and are not judged, nor is an exponent without r2: values of a few tenths are usual. Value: the exponent.
    """
    session = batch.session
    exponent, r2 = floats(session["reported_exponent"]), floats(session["reported_correlation_r2"])
    kind = session["kind"]
    customary = np.any([np.abs(exponent - usual) < SAME for usual in CUSTOMARY_EXPONENTS], axis=0)
    said = (session["reported_exponent_assumed"] == 1) | (kind == _ONE_POINT)
    measured = session["reported_exponent_assumed"] == 0
    likely = customary & (r2 > 1.0 - SAME) & (kind != _TWO_POINT) & ~measured
    unknown = np.isnan(exponent) | (np.isnan(r2) & ~measured)
    cause = np.where(np.isnan(exponent), "not_reported", "scatter_not_reported")
    check = judged(exponent, likely, when_bad=SUSPECT, unknown=unknown, cause=cause)
    assumed = said & ~np.isnan(exponent)
    return replace(
        check,
        level=np.where(assumed, MISSING, check.level).astype(np.int8),
        cause=np.where(assumed, 0, check.cause).astype(np.int8),
    )


def volume_fits_floor(
    batch: Batch, leakage: Leakage, *, low_m: float = 1.8, high_m: float = 6.0, usual_low_m: float = 2.1
) -> Check:
    """Whether volume over floor area is the height of rooms; value: that height [m].

    Where it is not, and just one of volume in ft3, floor in ft2, or both in feet brings it to `usual_low_m` to
    `high_m`, that is named. Details: the sizes; slip in the volume (place in SLIPS, -1 for none), floor_slip.
    """
    volume, floor = floats(batch.session["volume_m3"]), floats(batch.session["floor_area_m2"])
    height = volume / floor
    volume_slips = [NONE, *(place for place, slip in enumerate(SLIPS) if slip.of == "volume")]
    floor_slips = [NONE, *(place for place, slip in enumerate(SLIPS) if slip.of == "area")]
    count, slip, floor_slip = np.zeros(height.size), np.full(height.size, NONE), np.full(height.size, NONE)
    for one in volume_slips:
        for other in floor_slips:
            factor = (1.0 if one == NONE else SLIPS[one].factor) / (1.0 if other == NONE else SLIPS[other].factor)
            mixed = NONE not in (one, other) and (SLIPS[one].meant == "ft3") != (SLIPS[other].meant == "ft2")
            if mixed or one == other == NONE:
                continue
            fits = (height / factor >= usual_low_m) & (height / factor <= high_m)
            count += fits
            slip, floor_slip = np.where(fits, one, slip), np.where(fits, other, floor_slip)
    bad = (height < low_m) | (height > high_m)
    cause = np.where(np.isnan(volume), "volume_unknown", "not_recorded")
    check = judged(height, bad, when_bad=SUSPECT, limit=np.where(height < low_m, low_m, high_m), cause=cause)
    alone = count == 1
    details = {
        "volume_m3": volume,
        "floor_area_m2": floor,
        "slip": np.where(alone, slip, NONE).astype(np.float64),
        "floor_slip": np.where(alone, floor_slip, NONE).astype(np.float64),
    }
    return _for_houses(batch, replace(check, details=details))


def plausible_sizes(
    batch: Batch,
    leakage: Leakage,
    *,
    volume_low_m3: float = 30.0,
    volume_high_m3: float = 3000.0,
    floor_low_m2: float = 10.0,
    floor_high_m2: float = 1200.0,
    envelope_low_m2: float = 30.0,
    envelope_high_m2: float = 3000.0,
    height_low_m: float = 2.0,
    height_high_m: float = 20.0,
) -> Check:
    """Whether volume, areas and height are such as houses have; value: how far the farthest is outside [1].

    That is its value over the nearer limit. Details: the value outside under its own name, NaN for the others; slip
    (place in SLIPS, -1 for none): the only one that brings it to what houses usually have.
    """
    limits = {
        "volume_m3": (volume_low_m3, volume_high_m3),
        "floor_area_m2": (floor_low_m2, floor_high_m2),
        "envelope_area_m2": (envelope_low_m2, envelope_high_m2),
        "height_m": (height_low_m, height_high_m),
    }
    return _for_houses(batch, _plausible(batch, limits, _SIZES))


def plausible_reported(
    batch: Batch,
    leakage: Leakage,
    *,
    flow_low_m3_h: float = 20.0,
    flow_high_m3_h: float = 40_000.0,
    pressure_low_pa: float = 1.0,
    pressure_high_pa: float = 110.0,
    air_change_low_per_h: float = 0.1,
    air_change_high_per_h: float = 60.0,
    natural_low_per_h: float = 0.004,
    natural_high_per_h: float = 4.0,
    exponent_low: float = 0.45,
    exponent_high: float = 1.05,
    area_low_m2: float = 5e-4,
    area_high_m2: float = 2.0,
) -> Check:
    """Whether each reported value is one that houses can have; value, details and slip as in `plausible_sizes`.

    An exponent below zero is one whose sign turned, one of 40 to 105 one in per cent, one of 1.1 to 2 may be its
    reciprocal: sentences say so.
    """
    limits = {
        "reported_flow_m3_h": (flow_low_m3_h, flow_high_m3_h),
        "reported_flow_pressure_pa": (pressure_low_pa, pressure_high_pa),
        "reported_air_change_50_per_h": (air_change_low_per_h, air_change_high_per_h),
        "reported_natural_air_change_per_h": (natural_low_per_h, natural_high_per_h),
        "reported_exponent": (exponent_low, exponent_high),
        "reported_leakage_area_m2": (area_low_m2, area_high_m2),
    }
    return _for_houses(batch, _plausible(batch, limits, _REPORTED))


def _plausible(batch: Batch, limits: Mapping[str, tuple[float, float]], usual: Mapping[str, Usual]) -> Check:
    names = tuple(limits)
    values = np.array([floats(batch.session[name]) for name in names])
    low, high = (np.array([limits[name][end] for name in names])[:, None] for end in (0, 1))
    outside = (values < low) | (values > high)
    positive = np.where(values > 0, values, np.nan)
    distance = np.fmax(np.log(low / positive), np.log(positive / high))
    distance = np.where(outside, np.where(values > 0, distance, np.inf), -np.inf)
    worst = np.argmax(distance, axis=0)
    column = np.arange(values.shape[1])
    value, bad = values[worst, column], outside[worst, column]
    limit = np.where(value < low[worst, 0], low[worst, 0], high[worst, 0])
    some = ~np.isnan(values).all(axis=0)
    check = judged(
        np.where(some, np.where(bad, value / limit, 1.0), np.nan), bad, when_bad=SUSPECT, cause="not_recorded"
    )
    slip = np.full(value.size, NONE)
    for place, name in enumerate(names):
        here = bad & (worst == place)
        slip = np.where(here, _only_slip(value, usual[name]), slip)
    own = {name: np.where(bad & (worst == place), value, np.nan) for place, name in enumerate(names)}
    return replace(check, limit=np.where(bad, limit, np.nan), details={**own, "slip": slip.astype(np.float64)})


def _only_slip(value: Floats, usual: Usual) -> NDArray[np.int64]:
    """The one slip that brings a value to what is usual, NONE where none or several do.

    A moved decimal point is thought of only where no unit explains the value.
    """
    found = np.full(value.size, NONE)
    for of in ("number", usual.slip):
        places = [place for place, slip in enumerate(SLIPS) if slip.of == of]
        fits = np.array(
            [(value / SLIPS[p].factor >= usual.low) & (value / SLIPS[p].factor <= usual.high) for p in places]
        )
        if places:
            count = fits.sum(axis=0)
            alone = np.where(count == 1, np.array(places)[np.argmax(fits, axis=0)], NONE)
            found = np.where(count > 0, alone, found)
    return found


def _for_houses(batch: Batch, check: Check) -> Check:
    other: Flags = (batch.session["building_type"] == _NOT_A_HOUSE) & (check.level != NOT_EVALUATED)
    return check.unless(other, "not_a_house")
