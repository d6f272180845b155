"""What differs between the halves of a pair, and what follows from it for the claim that leakage fell."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from interchange.operations.halves import Half
from interchange.operations.pairing import ENOUGH_READINGS
from interchange.report.pairs import BLOCKS, SAID, WIDENS, Mismatch


@dataclass(frozen=True, slots=True)
class Limits:
    """From where on halves count as different, and how much wider what cannot be known makes the interval.

    `least_percent`: the smallest reduction of practical size. Volumes are named beyond `volume_said_percent`; beyond
    `volume_blocks_percent` another space was tested. `days_apart`: the longest time between halves that goes unnamed.
    `large_percent`: reductions beyond it are hardly ever seen. These are judgements, no standard behind them.
    `wind_limit_percent`: how far strong wind may carry the flow at 50 Pa (Persily 1982, abstract at AIVC: errors to
    15 %). `direction_limit_percent`: how far the flow may differ between both directions; a judgement, no source.
    """

    least_percent: float = 0.0
    volume_said_percent: float = 2.0
    volume_blocks_percent: float = 10.0
    days_apart: int = 730
    large_percent: float = 70.0
    wind_limit_percent: float = 15.0
    direction_limit_percent: float = 5.0


LIMITS = Limits()
GRAVE = ("retest_advised", "cannot_tell")  # verdicts of a test that no comparison should rest on

# Houses, by what they are filed under, whose tests show the same readings: by hash and number of the readings.
Copies = Mapping[tuple[int, int], set[str]]

# Fields that are recorded on both sides and differ: what follows.
_PLAIN = {
    "site_id": BLOCKS,
    "boundary": BLOCKS,
    "basement_included": BLOCKS,
    "garage_included": BLOCKS,
    "exhaust_fans": BLOCKS,
    "gauge_serial": WIDENS,
    "fan_serial": WIDENS,
    "gauge_calibrated_on": WIDENS,
    "fan_calibrated_on": WIDENS,
    "fan_configuration": WIDENS,
    "direction_used": WIDENS,
    "combustion_appliances": SAID,
    "preparation_as_recorded": SAID,
    "kind": SAID,
    "rule_set": SAID,
    "job_id": SAID,
}
# Fields that mean nothing to each other where another one differs already.
_WITHIN = {
    "gauge_calibrated_on": "gauge_serial",
    "fan_calibrated_on": "fan_serial",
    "fan_configuration": "fan_serial",
    "rule_set": "kind",
}
# Of what people should know how many pairs have it on both sides: what is not recorded cannot be held against a pair.
COMPARED = ("volume_m3", "boundary", "basement_included", "garage_included", "exhaust_fans", "openings", "fan_serial")


def differs(before: Half, after: Half, name: str) -> bool:
    """Whether a field is recorded in both halves, and otherwise."""
    one, other = getattr(before, name), getattr(after, name)
    return one not in (None, "unknown") and other not in (None, "unknown") and bool(one != other)


def same_instrument(before: Half, after: Half, instrument: str) -> bool:
    """Whether one gauge, or one fan with the same opening, did both halves, without a calibration between them."""
    names = [name for name in _PLAIN if name.startswith(f"{instrument}_")]
    serials = (getattr(before, f"{instrument}_serial"), getattr(after, f"{instrument}_serial"))
    return None not in serials and not any(differs(before, after, name) for name in names)


def mismatches(before: Half, after: Half, limits: Limits, copies: Copies) -> list[Mismatch]:
    """All that does not match, with both values and what follows; the order is that of the fields."""
    found = [*_of_flow(before, after), *_of_readings(before, after, copies), *_of_dates(before, after, limits)]
    for name, consequence in _PLAIN.items():
        within = _WITHIN.get(name)
        if differs(before, after, name) and not (within and differs(before, after, within)):
            found.append(Mismatch(name, getattr(before, name), getattr(after, name), consequence))
    return [*found, *_of_volume(before, after, limits), *_of_openings(before, after), *_of_trust(before, after)]


def _of_flow(before: Half, after: Half) -> Iterator[Mismatch]:
    one, other = before.flow_50_m3_h, after.flow_50_m3_h
    if one is None or other is None:
        yield Mismatch("flow_50_m3_h", one, other, BLOCKS)


def _of_readings(before: Half, after: Half, copies: Copies) -> Iterator[Mismatch]:
    """Readings that are those of the other half, or of another house: as many that no chance makes them so."""
    if before.readings is not None and (before.readings, before.reading_count) == (after.readings, after.reading_count):
        yield Mismatch("readings", "the same", "the same", BLOCKS)
    for half in (before, after):
        if half.readings is None or half.reading_count < ENOUGH_READINGS:
            continue
        others = copies.get((half.readings, half.reading_count), set()) - {before.house or "", after.house or ""}
        if others:
            words = f"those of {', '.join(sorted(others))}"
            yield Mismatch("readings", words if half is before else None, words if half is after else None, BLOCKS)


def _of_dates(before: Half, after: Half, limits: Limits) -> Iterator[Mismatch]:
    one, other = before.started_at_local, after.started_at_local
    if one is None or other is None:
        yield Mismatch("started_at_local", one, other, SAID)
    elif other < one and (other.date() < one.date() or before.time_quality == after.time_quality == "exact"):
        yield Mismatch("started_at_local", one.date(), other.date(), BLOCKS)
    elif (other - one).days > limits.days_apart:
        yield Mismatch("started_at_local", one.date(), other.date(), SAID)


def _of_volume(before: Half, after: Half, limits: Limits) -> Iterator[Mismatch]:
    one, other = before.volume_m3, after.volume_m3
    if one is None or other is None or not (one > 0 and other > 0):
        return
    apart = 100.0 * (max(one, other) / min(one, other) - 1.0)
    if apart > limits.volume_said_percent:
        yield Mismatch("volume_m3", one, other, BLOCKS if apart > limits.volume_blocks_percent else SAID)


def _of_openings(before: Half, after: Half) -> Iterator[Mismatch]:
    for opening in sorted(before.openings.keys() & after.openings.keys()):
        one, other = before.openings[opening], after.openings[opening]
        if one != other:
            yield Mismatch("openings", f"{opening} {one}", f"{opening} {other}", BLOCKS)


def _of_trust(before: Half, after: Half) -> Iterator[Mismatch]:
    """Halves in strong wind, and halves that are not sound for a comparison, with the checks behind it."""
    windy = [_wind(half) for half in (before, after)]
    grave = [_verdict(half) if half.verdict in GRAVE else None for half in (before, after)]
    noted = [_verdict(half) if half.verdict == "note" and _beside_wind(half) else None for half in (before, after)]
    for name, (one, other), consequence in (
        ("windy", windy, WIDENS),
        ("before_after", grave, BLOCKS),
        ("before_after", noted, SAID),
    ):
        if one or other:
            yield Mismatch(name, one, other, consequence)


def _wind(half: Half) -> str | None:
    if not half.windy:
        return None
    return "strong wind (best estimate taken)" if half.estimated else "strong wind"


def _beside_wind(half: Half) -> bool:
    return set(half.because_of) != {"wind_strength"}


def _verdict(half: Half) -> str:
    checks = f" ({', '.join(half.because_of)})" if half.because_of else ""
    return f"{half.verdict}{checks}".replace("_", " ")
