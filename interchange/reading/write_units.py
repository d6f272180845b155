"""The unit in which numbers are written where a layout leaves it open: that in which they are shortest."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import islice

from interchange import units
from interchange.model.manifest import Layout
from interchange.quantities import QUANTITIES
from interchange.reading.write_numbers import number_text

_LOOKED_AT = 1000
_WORTH = 3  # characters that another unit than the first must save
# units in use for a quantity, the usual one first
_BY_UNIT = {
    "m3/h": ("m³/h", "L/s", "cfm"),
    "m3": ("m³", "ft3"),
    "m2": ("m²", "ft2"),
    "m": ("m", "ft"),
    "Cel": ("°C", "°F"),
    "m/s": ("m/s", "km/h", "mph"),
    "/h": ("1/h",),
    "kg/m3": ("kg/m³",),
    "deg": ("°",),
    "1": ("",),
}
_BY_NAME = {"barometric_pressure_pa": ("hPa", "Pa"), "reported_leakage_area_m2": ("cm²", "in2", "m²")}


def best_unit(name: str, values: Iterable[float | None], layout: Layout) -> str:
    """The spelling of a unit for values of a quantity, which are in the unit of the archive; empty for plain numbers.

    Numbers that a unit cannot bring back to their last digit count more than any length.
    """
    ucum = QUANTITIES[name].ucum
    spellings = _BY_NAME.get(name) or _BY_UNIT.get(ucum, (ucum,))
    if len(spellings) == 1:
        return spellings[0]
    some = [value for value in islice(values, _LOOKED_AT) if value is not None]

    def cost(spelling: str) -> tuple[int, int]:
        factor, offset = units.conversion(spelling, name)
        texts = [number_text(value, factor, offset, decimals=None, layout=layout, marks=()) for value in some]
        handicap = 0 if spelling == spellings[0] else _WORTH
        return sum(not exact for _, exact in texts), sum(len(text) for text, _ in texts) + handicap

    return min(spellings, key=cost)
