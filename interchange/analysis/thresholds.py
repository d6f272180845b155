"""Whether a test leaks no more than a programme asks for: yes, no, cannot tell, or not asked.

A threshold can be for some climate zones or building types. The first that is for a test counts; where one that might
be for it stands before, because zone or type is not recorded, nobody can tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import areas, powerlaw
from interchange.analysis.batch import Batch, Codes, Floats, Ints
from interchange.analysis.leakage import FLOW_PRESSURE_PA, Leakage
from interchange.analysis.work import floats
from interchange.quantities import CHOICES
from interchange.units import unit

YES, NO, CANNOT_TELL, NOT_ASKED = range(len(CHOICES["conforms"]))
FIRM_PROVENANCE = ("read", "physics")

# Why nobody can tell; the order is that of the codes in `Conformity.cause`.
CAUSES = (
    "",
    "climate_zone_unknown",
    "building_type_unknown",
    "no_flow",
    "size_unknown",
    "flow_unreliable",
    "limit_not_read",
)
_OUT_OF = {
    "air_changes": "volume_m3",
    "flow_per_envelope_area": "envelope_area_m2",
    "flow_per_floor_area": "floor_area_m2",
}
# What one of a limit's unit is in m3/h per m3 or per m2.
_SCALE = {"1/h": 1.0, "m3/h/m2": 1.0, "cfm/ft2": float(unit("cfm").factor / unit("ft2").factor)}


class Threshold(Protocol):
    """What a rule set says of one threshold."""

    @property
    def of(self) -> str:
        """What is limited: `air_changes`, `flow_per_envelope_area` or `flow_per_floor_area`."""

    @property
    def at_most(self) -> float:
        """The limit, in its unit."""

    @property
    def unit(self) -> str:
        """Unit of the limit: 1/h, m3/h/m2 or cfm/ft2."""

    @property
    def at_pa(self) -> float:
        """Pressure of the flow [Pa]."""

    @property
    def climate_zones(self) -> Sequence[str]:
        """Zones it is for; all if none."""

    @property
    def building_types(self) -> Sequence[str]:
        """Building types it is for; all if none."""

    @property
    def provenance(self) -> str:
        """How the limit is known."""


@dataclass(frozen=True, slots=True)
class Conformity:
    """Of each session: code of `quantities.CHOICES["conforms"]`, the threshold that counts (its place, -1 for none),
    value and limit [1/h or m3/(h m2)], NaN where absent, and why nobody can tell as a code of CAUSES."""

    conforms: Codes
    threshold: Ints
    value: Floats
    limit: Floats
    cause: Codes


def conformity(
    batch: Batch,
    leakage: Leakage,
    thresholds: Sequence[Threshold],
    climate_zones: Sequence[str | None],
    unreliable: NDArray[np.bool_],
) -> Conformity:
    """Hold each session against the first threshold that is for it.

    `climate_zones` are those of the sessions, compared without regard to letter case and outer blanks; `unreliable`
    marks sessions whose flow cannot be relied on. A limit that was not read, and is not met, cannot fail a test.
    """
    size = unreliable.size
    if not thresholds:
        nothing = np.full(size, np.nan)
        asked = np.full(size, NOT_ASKED, dtype=np.int8)
        return Conformity(asked, np.full(size, -1), nothing, nothing, np.zeros(size, dtype=np.int8))
    chosen, limit, value = np.full(size, -1), np.full(size, np.nan), np.full(size, np.nan)
    cause, firm, open_still = (
        np.zeros(size, dtype=np.int8),
        np.ones(size, dtype=np.bool_),
        np.ones(size, dtype=np.bool_),
    )
    zones = np.array(["" if zone is None else zone.strip().casefold() for zone in climate_zones], dtype=object)
    kinds = batch.session["building_type"].astype(np.int64)
    for place, threshold in enumerate(thresholds):
        zone_is, zone_may = _among(zones, [zone.strip().casefold() for zone in threshold.climate_zones], zones == "")
        codes = [CHOICES["building_type"].index(word) for word in threshold.building_types]
        kind_is, kind_may = _among(kinds, codes, kinds < 0)
        possible = open_still & zone_may & kind_may
        sure = possible & zone_is & kind_is
        unknown = np.where(zone_is, "building_type_unknown", "climate_zone_unknown")
        cause = np.where(possible & ~sure, _codes(unknown), cause).astype(np.int8)
        chosen = np.where(possible, place, chosen)
        limit = np.where(sure, threshold.at_most * _SCALE[threshold.unit], limit)
        value = np.where(sure, _value(batch, leakage, threshold), value)
        firm = np.where(sure, threshold.provenance in FIRM_PROVENANCE, firm)
        open_still &= ~possible
    sure = (chosen >= 0) & (cause == 0)
    no_flow = np.isnan(floats(leakage.session["flow_50_m3_h"]))
    above = value > limit
    why = np.select(
        [no_flow, unreliable, np.isnan(value), above & ~firm],
        ["no_flow", "flow_unreliable", "size_unknown", "limit_not_read"],
        "",
    )
    cause = np.where(sure, _codes(why), cause).astype(np.int8)
    found = np.select([chosen < 0, cause > 0, above], [NOT_ASKED, CANNOT_TELL, NO], YES)
    return Conformity(found.astype(np.int8), chosen, value, limit, cause)


def _among(
    values: NDArray[np.generic], wanted: Sequence[object], unknown: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Whether a value is one of those wanted, and whether it may be; all are where none is wanted."""
    is_one = np.array([value in wanted for value in values.tolist()], dtype=np.bool_) | (not wanted)
    return is_one, is_one | unknown


def _value(batch: Batch, leakage: Leakage, threshold: Threshold) -> Floats:
    session = leakage.session
    if threshold.at_pa == FLOW_PRESSURE_PA:
        flow = floats(session["flow_50_m3_h"])
    else:
        log_coefficient = np.log(floats(session["flow_coefficient_m3_h"]))
        flow = powerlaw.flow_m3_h(log_coefficient, floats(session["exponent"]), threshold.at_pa)
    return areas.air_changes_per_h(flow, floats(batch.session[_OUT_OF[threshold.of]]))


def _codes(words: NDArray[np.str_]) -> NDArray[np.int64]:
    found, inverse = np.unique(words, return_inverse=True)
    return np.asarray(np.array([CAUSES.index(str(word)) for word in found])[inverse])
