"""Names of what is counted over many tests: shares of tests, by group."""

from __future__ import annotations

from interchange.quantities.quantity import Quantity
from interchange.quantities.quantity import quantity as _q

TABLE: tuple[Quantity, ...] = (
    _q("trend_by", "", "what tests are grouped by"),
    _q("trend_group", "", "the group; unknown where nothing tells it"),
    _q("measure", "", "what is counted"),
    _q("test_count", "1", "tests of the group"),
    _q("asked_count", "1", "tests of the group for which the measure could be told"),
    _q("found_count", "1", "of those, tests for which it was found"),
    _q("share_percent", "%", "share of them"),
    _q("share_low_percent", "%", "lower 95 % limit of that share (Wilson)"),
    _q("share_high_percent", "%", "upper 95 % limit of that share (Wilson)"),
    _q("small_group", "", "whether the group is too small to be held against others"),
    _q("adjusted_share_percent", "%", "the share, adjusted for the wind that each group met; not computed yet"),
    _q("limit_low_percent", "%", "lower control limit of the share; not computed yet"),
    _q("limit_high_percent", "%", "upper control limit of the share; not computed yet"),
)
