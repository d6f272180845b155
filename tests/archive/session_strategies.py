"""Any session that the form allows, for property tests."""

from __future__ import annotations

import types
import typing
from datetime import UTC

from hypothesis import strategies as st
from pydantic import StringConstraints, ValidationError

from interchange.model.base import Record
from interchange.model.session import FanCalibration, Session

_SCALARS: dict[str, st.SearchStrategy[typing.Any]] = {
    "str": st.text(max_size=8),
    "bool": st.booleans(),
    "date": st.dates(),
    "NaiveDatetime": st.datetimes(),
    "AwareDatetime": st.datetimes(timezones=st.just(UTC)),
}


def _number(kind: type, limits: dict[str, float]) -> st.SearchStrategy[typing.Any]:
    if kind is int:
        return st.integers(int(limits.get("ge", -(2**63))), int(limits.get("le", 2**63 - 1)))
    low, high = limits.get("ge", limits.get("gt")), limits.get("le", limits.get("lt"))
    return st.floats(
        low, high, exclude_min="gt" in limits, exclude_max="lt" in limits, allow_nan=False, allow_infinity=False
    )


def _limits(metadata: typing.Iterable[typing.Any]) -> dict[str, float]:
    found: dict[str, float] = {}
    for one in metadata:
        for part in (one, *getattr(one, "metadata", ())):
            found.update({n: v for n in ("gt", "ge", "lt", "le") if (v := getattr(part, n, None)) is not None})
    return found


def _any(annotation: typing.Any, metadata: typing.Sequence[typing.Any] = ()) -> st.SearchStrategy[typing.Any]:
    origin, inner = typing.get_origin(annotation), typing.get_args(annotation)
    if origin in (typing.Union, types.UnionType):
        return st.one_of(st.none(), *(_any(one) for one in inner if one is not type(None)))
    if origin is typing.Annotated:
        return _any(inner[0], [*inner[1:], *metadata])
    if origin is typing.Literal:
        return st.sampled_from(inner)
    if origin is tuple:
        return st.lists(_any(inner[0]), max_size=2).map(tuple)
    if issubclass(annotation, Record):
        return records(annotation)
    text = next((one for one in metadata if isinstance(one, StringConstraints)), None)
    if text is not None and text.pattern:
        return st.text("0123456789abcdef", min_size=64, max_size=64)
    if text is not None:
        return st.text(min_size=text.min_length or 0, max_size=8)
    return _number(annotation, _limits(metadata)) if annotation in (int, float) else _SCALARS[annotation.__name__]


def _calibrations() -> st.SearchStrategy[typing.Any]:
    """A power law, or a table of rising pressures and flows; its range is well-ordered."""
    fields = {name: _any(info.annotation, info.metadata) for name, info in FanCalibration.model_fields.items()}
    some = st.floats(0, 1e300, exclude_min=True)
    rising = st.lists(st.tuples(some, some), min_size=2, max_size=4).map(
        lambda rows: [
            {"calibration_pressure_pa": p, "calibration_flow_m3_h": q}
            for p, q in zip(*(sorted(column) for column in zip(*rows, strict=True)), strict=True)
        ]
    )
    law = {"fan_coefficient_m3_h": some, "fan_exponent": some, "calibration_points": st.just(())}
    table = {"fan_coefficient_m3_h": st.none(), "fan_exponent": st.none(), "calibration_points": rising}

    def valid(document: dict[str, typing.Any]) -> bool:
        try:
            FanCalibration.model_validate(document)
        except ValidationError:
            return False
        return True

    forms = st.one_of(st.fixed_dictionaries(fields | law), st.fixed_dictionaries(fields | table))
    return forms.filter(valid).map(FanCalibration.model_validate)


def records(record: type[Record]) -> st.SearchStrategy[typing.Any]:
    if record is FanCalibration:
        return _calibrations()
    fields = {name: _any(info.annotation, info.metadata) for name, info in record.model_fields.items()}
    return st.fixed_dictionaries(fields).map(record.model_validate)


SESSIONS: st.SearchStrategy[Session] = records(Session)
