"""What differs between the halves of a pair, each with both values and what follows."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest
from halves_by_hand import half

from interchange.operations.mismatches import LIMITS, Limits, mismatches, same_instrument
from interchange.report.pairs import BLOCKS, SAID, WIDENS

BEFORE, AFTER = datetime(2026, 3, 2, 9, 0), datetime(2026, 4, 1, 9, 0)


def found(one: dict[str, Any], other: dict[str, Any], limits: Limits = LIMITS, copies: Any = None) -> list[Any]:
    pair = half("b", **one), half("a", **{"stage": "after", "started_at_local": AFTER, **other})
    return [(m.field, m.before, m.after, m.consequence) for m in mismatches(*pair, limits, copies or {})]


def test_halves_that_are_alike_do_not_differ() -> None:
    assert found({}, {}) == []


@pytest.mark.parametrize(
    ("name", "one", "other", "consequence"),
    [
        ("site_id", "H-1", "H-2", BLOCKS),
        ("boundary", "unit_total", "unit_to_outside", BLOCKS),
        ("basement_included", True, False, BLOCKS),
        ("garage_included", True, False, BLOCKS),
        ("exhaust_fans", "on", "off", BLOCKS),
        ("gauge_serial", "G-1", "G-2", WIDENS),
        ("fan_serial", "F-1", "F-2", WIDENS),
        ("gauge_calibrated_on", "2025-11-01", "2026-03-20", WIDENS),
        ("fan_calibrated_on", "2025-11-01", "2026-03-20", WIDENS),
        ("fan_configuration", "full", "half", WIDENS),
        ("direction_used", "depressurisation", "pressurisation", WIDENS),
        ("direction_used", "both", "pressurisation", WIDENS),
        ("combustion_appliances", "on", "off", SAID),
        ("preparation_as_recorded", "as found", "vents sealed", SAID),
        ("kind", "multi_point", "single_point", SAID),
        ("rule_set", "iso9972@2015", "astm-e779@2019", SAID),
        ("job_id", "J-1", "J-2", SAID),
        ("volume_m3", 400.0, 409.0, SAID),
        ("volume_m3", 400.0, 450.0, BLOCKS),
        ("volume_m3", 450.0, 400.0, BLOCKS),
        ("flow_50_m3_h", 2000.0, None, BLOCKS),
        ("flow_50_m3_h", None, None, BLOCKS),
    ],
)
def test_a_field_that_differs_is_named_with_both_values(name: str, one: Any, other: Any, consequence: str) -> None:
    assert found({name: one}, {name: other}) == [(name, one, other, consequence)]


@pytest.mark.parametrize("name", ["boundary", "basement_included", "exhaust_fans", "fan_serial", "volume_m3"])
def test_what_is_not_recorded_on_one_side_is_no_mismatch(name: str) -> None:
    assert found({name: None}, {}) == found({}, {name: None}) == []
    assert found({"exhaust_fans": "unknown"}, {}) == []


def test_the_limits_of_volume_are_the_callers() -> None:
    assert found({"volume_m3": 400.0}, {"volume_m3": 407.0}) == []
    assert found({"volume_m3": 400.0}, {"volume_m3": 407.0}, Limits(volume_said_percent=1.0))[0][3] == SAID


def test_another_opening_or_calibration_of_another_fan_goes_without_saying() -> None:
    other = {"fan_serial": "F-2", "fan_configuration": "half", "fan_calibrated_on": "2026-01-01"}
    assert found({}, other) == [("fan_serial", "F-1", "F-2", WIDENS)]


def test_openings_are_compared_one_by_one() -> None:
    one = {"openings": {"fireplace": "closed", "flue": "sealed", "vent": "open"}}
    other = {"openings": {"fireplace": "sealed", "flue": "sealed", "loft hatch": "open"}}
    assert found(one, other) == [("openings", "fireplace closed", "fireplace sealed", BLOCKS)]


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        (AFTER, BEFORE, [("started_at_local", AFTER.date(), BEFORE.date(), BLOCKS)]),
        (AFTER, AFTER.replace(hour=8), [("started_at_local", AFTER.date(), AFTER.date(), BLOCKS)]),
        (None, AFTER, [("started_at_local", None, AFTER, SAID)]),
        (datetime(2020, 3, 2), AFTER, [("started_at_local", datetime(2020, 3, 2).date(), AFTER.date(), SAID)]),
        (AFTER, AFTER, []),
    ],
)
def test_dates_that_do_not_follow_each_other_are_named(one: Any, other: Any, expected: Any) -> None:
    assert found({"started_at_local": one}, {"started_at_local": other}) == expected


def test_days_alone_turn_the_order_whatever_the_clocks_are_worth() -> None:
    days = ({"started_at_local": start, "time_quality": "date_only"} for start in (AFTER, BEFORE))
    assert found(*days) == [("started_at_local", AFTER.date(), BEFORE.date(), BLOCKS)]


def test_on_one_day_a_clock_that_is_not_exact_does_not_turn_the_order() -> None:
    later = {"started_at_local": AFTER, "time_quality": "date_only"}
    assert found(later, {"started_at_local": AFTER.replace(hour=8)}) == []


def test_a_half_that_is_not_sound_blocks_and_one_in_strong_wind_widens() -> None:
    grave = {"verdict": "retest_advised", "because_of": ("baseline_shift", "baseline_level")}
    assert found({}, grave) == [("before_after", None, "retest advised (baseline shift, baseline level)", BLOCKS)]
    assert found({"verdict": "cannot_tell"}, {}) == [("before_after", "cannot tell", None, BLOCKS)]
    wind = {"verdict": "note", "because_of": ("wind_strength",), "windy": True}
    assert found(wind, {}) == [("windy", "strong wind", None, WIDENS)]
    note = {"verdict": "note", "because_of": ("baseline_missing",)}
    assert found(note, grave)[1] == ("before_after", "note (baseline missing)", None, SAID)


def test_readings_of_another_house_or_of_the_other_half_are_named() -> None:
    copies = {(7, 10): {"J-1", "J-8", "J-9"}}
    assert found({"readings": 7}, {}, copies=copies) == [("readings", "those of J-8, J-9", None, BLOCKS)]
    assert found({"readings": 7}, {"readings": 7}) == [("readings", "the same", "the same", BLOCKS)]
    by_chance = {"readings": 7, "reading_count": 1}
    assert found(by_chance, {}, copies={(7, 1): {"J-1", "J-8"}}) == []


@pytest.mark.parametrize(
    ("other", "gauge", "fan"),
    [
        ({}, True, True),
        ({"gauge_serial": "G-2"}, False, True),
        ({"gauge_serial": None}, False, True),
        ({"gauge_calibrated_on": "2026-03-20"}, False, True),
        ({"gauge_calibrated_on": None}, True, True),
        ({"fan_serial": "F-2"}, True, False),
        ({"fan_serial": None}, True, False),
        ({"fan_calibrated_on": "2026-03-20"}, True, False),
        ({"fan_configuration": "half"}, True, False),
    ],
)
def test_errors_cancel_where_one_instrument_did_both_as_it_was(other: Any, gauge: bool, fan: bool) -> None:
    pair = half("b"), half("a", **other)
    assert (same_instrument(*pair, "gauge"), same_instrument(*pair, "fan")) == (gauge, fan)
