"""Names of what is said of two tests of one house: reductions, and repeats as a check of the stated intervals."""

from __future__ import annotations

from interchange.quantities.quantity import Quantity
from interchange.quantities.quantity import quantity as _q

TABLE: tuple[Quantity, ...] = (
    # reductions
    _q("before_session_id", "", "test that stands for before the work"),
    _q("after_session_id", "", "test that stands for after the work"),
    _q("before_started_at_local", "", "start of that test by the clock of the place"),
    _q("after_started_at_local", "", "start of that test by the clock of the place"),
    _q("before_flow_50_m3_h", "m3/h", "flow through the envelope at 50 Pa before the work"),
    _q("after_flow_50_m3_h", "m3/h", "flow through the envelope at 50 Pa after the work"),
    _q("reduction_50_m3_h", "m3/h", "by how much the flow at 50 Pa fell; a rise is negative"),
    _q("reduction_50_percent", "%", "the same, of the flow before"),
    _q("reduction_50_low_percent", "%", "lower 95 % limit of that reduction"),
    _q("reduction_50_high_percent", "%", "upper 95 % limit of that reduction"),
    _q("is_it_real", "", "whether the whole interval is a reduction of tests that match"),
    _q("in_words", "", "what the comparison says, and what does not match, in sentences"),
    _q("mismatches", "", "what differs between the halves: field, both values, what follows"),
    _q("pair_count", "1", "pairs of tests compared"),
    _q("real_count", "1", "pairs with a real reduction"),
    _q("not_real_count", "1", "pairs without a reduction of practical size"),
    _q("cannot_tell_count", "1", "pairs that cannot tell"),
    _q("median_reduction_percent", "%", "median of the real reductions"),
    # repeats
    _q("first_session_id", "", "earlier test of a repeat, or the one of which both directions are compared"),
    _q("second_session_id", "", "later test of a repeat, or the same one"),
    _q("first_flow_50_m3_h", "m3/h", "flow through the envelope at 50 Pa by the earlier test, or in depressurisation"),
    _q("second_flow_50_m3_h", "m3/h", "flow through the envelope at 50 Pa by the later test, or in pressurisation"),
    _q("repeat_difference_percent", "%", "size of their difference, of the lesser one"),
    _q("repeat_limit_percent", "%", "largest difference that their joint 95 % interval lets pass"),
    _q("agrees", "", "whether they are one within their joint 95 % interval"),
    _q("repeat_sort", "", "what makes two results of one house a repeat"),
    _q("windy", "", "whether one of the two stood in strong wind"),
    _q("agreeing_count", "1", "pairs that are one within their joint 95 % interval"),
    _q("agreeing_percent", "%", "share of pairs that agree"),
    _q("agreeing_low_percent", "%", "lower 95 % limit of that share (Wilson)"),
    _q("agreeing_high_percent", "%", "upper 95 % limit of that share (Wilson)"),
    _q("expected_percent", "%", "share that should agree, if the stated intervals were right"),
    _q("median_difference_percent", "%", "median size of the differences"),
    _q("expected_difference_percent", "%", "median size that the stated intervals let expect"),
    _q("stated_intervals", "", "what the share says of the stated intervals"),
)
