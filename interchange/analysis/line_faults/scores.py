"""How much of each fault is to be seen in a test: scores that grow with the evidence.

Each score is the greatest of its signs, each sign over what one sound test in twenty shows at its level of noise. So 1
is what one sound test in twenty, or somewhat more, reaches. NaN is where a record of its kind can tell nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from interchange.analysis import noise
from interchange.analysis.batch import Floats
from interchange.analysis.line_faults.channels import channel_signs
from interchange.analysis.line_faults.features import LineFeatures
from interchange.analysis.line_faults.records import record_signs
from interchange.analysis.line_faults.seen import BEFORE, POINT, Flags, Level, Seen, medians
from interchange.analysis.line_faults.zero import Zero
from interchange.analysis.work import Work

OFFSET_TIMES = 4.0  # [1] a wind that moves readings by S moves the zero by so many S at times: pressure coefficients
GAUGE_ZERO_PA = 0.3  # [Pa] of a gauge and its tubes
NOISE_FLOOR_PA = 0.06  # [Pa] of single readings of a gauge in still air
HIGH_SHARE, LOW_SHARE = 0.4, 0.1  # [1] of the greatest flow to the fourth power: points held in much and little stream
FLOW_TREND = 0.004  # [1] of ln flow, within a point, that is a fan's own
JUMP_PA = 0.5  # [Pa] between baselines, of a fan that ran in one: pressure across the door does not move so much
FOLLOWS_SURELY = 5.0  # [1] z of a fan gauge that moves with the reading: not a fan that runs by itself
SWAPPED_SLOPE = 2.0  # [1] fan pressure that moves so many times more than the reading while the fan is off
EXPONENT = 0.65  # [1] as in `zero`

# What one sound test in twenty shows of each sign, at deviations of single readings of NOISE_PA. From simulated tests
# in all winds at five arrangements of the line, no source.
NOISE_PA = (0.1, 0.5, 2.0, 6.0)
USUAL: Mapping[str, tuple[float, float, float, float]] = {
    "offset": (1.35, 1.35, 1.2, 1.1),
    "drawn": (1.35, 1.35, 1.2, 1.1),
    "pulled_offset": (1.35, 1.35, 1.2, 1.1),
    "zero_after": (2.7, 3.3, 3.0, 3.0),
    "zero_points": (1.7, 2.6, 2.4, 2.2),
    "drift": (1.8, 1.8, 1.5, 1.4),
    "opening": (2.2, 3.5, 3.5, 3.4),
    "within": (2.3, 3.9, 4.3, 4.2),
    "within_one": (0.95, 2.2, 2.4, 2.2),
    "configuration": (1.4, 2.2, 2.3, 2.3),
    "stream": (1.8, 1.9, 1.8, 1.8),
    "misfit": (2.0, 8.0, 10.0, 10.0),
    "loud": (0.2, 0.45, 0.6, 0.6),
    "loud_by_spread": (0.45, 0.9, 0.9, 0.9),
    "calm": (0.55, 1.05, 1.1, 1.1),
    "lag": (0.35, 0.35, 0.5, 0.9),
    "unanswered": (0.1, 0.1, 0.12, 0.35),
    # those of which sound tests show nothing, by what a gauge or a crew does
    "short": (1.0, 1.0, 1.0, 1.0),
    "dead": (1.8, 1.8, 1.8, 2.0),
    "dead_share": (0.01, 0.01, 0.01, 0.01),
    "wrong_sign": (0.2, 0.2, 0.3, 0.7),
    "swapped_target": (0.1, 0.1, 0.1, 0.2),
    "swapped_sense": (1.0, 1.0, 1.0, 1.0),
    "swapped_exponent": (1.0, 1.0, 1.0, 1.0),
    "swapped_rest": (0.2, 0.2, 0.2, 0.2),
    "running": (0.18, 0.18, 0.18, 0.18),
    "least_running": (0.18, 0.18, 0.18, 0.18),
    "fan_apart": (0.05, 0.05, 0.05, 0.05),
    "across_door": (1.6, 1.2, 1.1, 1.1),
    "fan_follows": (1.6, 1.3, 1.2, 1.2),
    "missing": (0.5, 0.5, 0.5, 0.5),
    "copied": (2.0, 2.0, 2.0, 2.0),
    "habit": (2.0, 2.0, 2.0, 2.0),
}
# Which signs speak for which fault; with traces and without.
SIGNS: Mapping[str, tuple[str, ...]] = {
    "water_in_line": ("offset", "zero_after", "zero_points"),
    "line_blocked": ("lag", "unanswered", "short", "misfit", "calm"),
    "line_disconnected": ("dead_share", "dead", "short"),
    "line_end_in_fan_stream": ("loud", "loud_by_spread", "stream"),
    "channels_swapped": ("swapped_target", "swapped_sense", "swapped_exponent", "swapped_rest", "misfit"),
    "sign_wrong": ("wrong_sign",),
    "fan_in_baseline": ("fan_apart", "running", "zero_after", "pulled_offset"),
    "fan_uncovered": ("least_running", "fan_follows", "zero_points"),
    "exhaust_running": ("zero_points", "drawn"),
    "fan_reference_wrong": ("across_door", "configuration", "misfit"),
    "baseline_missing": ("missing",),
    "baseline_copied": ("copied",),
    "baseline_zero_by_habit": ("habit",),
    "opening_moved": ("opening", "within", "within_one"),
    "gauge_drift": ("drift", "zero_after"),
    "fan_configuration_wrong": ("configuration",),
}

SURE = ("swapped_target", "swapped_sense", "dead_share", "dead")
SURELY = 2.0  # [1] of such a sign, that it is no chance
SURELY_DEAD = 1.3  # [1] of points that read a tenth of what they were meant to
SURELY_SLOW = 1.5  # [1] of what a lag leaves less of squares
BEYOND_CHANCE, NEARLY = 5.0, 0.8  # [1] z, and share of the greatest z, of patterns that are told apart
AMBIGUOUS = 1.7  # [1] score of a fault that another one explains as well
UNDECIDED = 0.85  # [1] score of a fault whose signs another one explains
OF_THE_FIT = (
    *("water_in_line", "line_end_in_fan_stream", "exhaust_running", "opening_moved"),
    *("gauge_drift", "fan_configuration_wrong", "fan_uncovered"),
)
# Signs of averages that give way where there are traces, which tell the same more surely.
OF_AVERAGES: Mapping[str, tuple[str, ...]] = {
    "line_disconnected": ("dead", "short"),
    "line_blocked": ("misfit", "calm"),
    "fan_in_baseline": ("zero_after", "pulled_offset"),
}


def signs(work: Work, seen: Seen, level: Level, zero: Zero, features: LineFeatures | None) -> dict[str, Floats]:
    """All signs by name and session, as they are; NaN where a record is silent."""
    found = channel_signs(work, seen, level, features)
    found |= record_signs(work, level, features)
    found |= _noise_signs(seen, level, features)
    some = zero.freedom > 0
    patterns = {name: np.where(some & np.isfinite(z), np.abs(z), np.nan) for name, z in zero.z.items()}
    found |= _explained_away(patterns)
    found["misfit"] = np.where(some, zero.squares / np.maximum(zero.freedom, 1.0), np.nan)
    found["explained"] = zero.explained
    found["wrong_sign"] = np.where(np.isnan(found["wrong_sign"]), np.nan, 1.0 + found["wrong_sign"])
    directed = _direction(work, found["offset"].size)
    found["pulled_offset"] = np.where(directed * found["offset_pa"] >= 0, found["offset"], 0.0)
    found["drawn"] = np.where(found["offset_pa"] < 0, found["offset"], 0.0)
    if features is not None:
        found["lag"] = np.exp(found["lag_gain"])
        slope = np.abs(features.fan_slope)
        z = slope / features.fan_slope_sd
        found["fan_slope_z"] = z
        jumped = 1.0 + (np.maximum(found["fan_apart"], 0.0) / JUMP_PA) ** 2
        found["across_door"] = np.fmax(z / jumped, features.fan_follows)
        found["fan_follows"] = features.fan_follows
        found["swapped_rest"] = np.fmin(slope / SWAPPED_SLOPE, z / 3.0)
        apart = 1.0 + (features.fan_follows / FOLLOWS_SURELY) ** 2
        found["running"], found["fan_apart"] = found["running"] / apart, found["fan_apart"] / apart
        within, lone = (
            _within(seen, level, features),
            np.bincount(seen.session[seen.what == POINT], minlength=level.told.size) == 1,
        )
        found["within"], found["within_one"] = np.where(lone, np.nan, within), np.where(lone, within, np.nan)
    return found


def _explained_away(patterns: Mapping[str, Floats]) -> dict[str, Floats]:
    """z of patterns, less where another one that is beyond chance explains the readings better.

    Not below what is beyond chance itself: both are there to be seen, but one is likelier.
    """
    best = np.fmax.reduce(list(patterns.values()))
    sure = best > BEYOND_CHANCE
    found = {}
    for name, z in patterns.items():
        share = z / np.where(sure, best, 1.0)
        found[name] = np.where(sure & (share < NEARLY), np.maximum(z * share, np.minimum(z, BEYOND_CHANCE)), z)
    return found


def scores(found: Mapping[str, Floats], level: Level) -> dict[str, Floats]:
    """Scores of the faults of `SIGNS` by name and session.

    Where readings are surely not what they are taken for, the fit is worth nothing: what only it could show is NaN.
    """
    at = np.log(np.clip(level.deviation_pa, NOISE_PA[0], NOISE_PA[-1]))
    over = {
        name: values / np.interp(at, np.log(NOISE_PA), USUAL[name]) for name, values in found.items() if name in USUAL
    }
    over["misfit"] = np.where(found["explained"] > 0, np.fmin(over["misfit"], AMBIGUOUS), over["misfit"])
    traced = "lag" in found
    made: dict[str, Floats] = {}
    for fault, names in SIGNS.items():
        score = np.full(at.size, np.nan)
        for name in names:
            if name in over and not (traced and name in OF_AVERAGES.get(fault, ())):
                score = np.fmax(score, over[name])
        made[fault] = np.maximum(score, 0.0)
    sure = {name: np.nan_to_num(over.get(name, np.zeros(at.size))) for name in SURE}
    swapped = np.maximum(sure["swapped_target"], sure["swapped_sense"]) >= SURELY
    off = sure["dead_share"] >= SURELY if traced else sure["dead"] >= SURELY_DEAD
    slow = traced & (np.nan_to_num(found.get("lag", np.zeros(at.size))) >= SURELY_SLOW)
    for fault in OF_THE_FIT:
        made[fault] = np.where(swapped | off | slow, np.nan, made[fault])
    for fault, where, most in (
        ("sign_wrong", swapped, UNDECIDED),
        ("line_blocked", swapped, UNDECIDED),
        ("line_blocked", off, AMBIGUOUS),
        ("channels_swapped", ~swapped & (off | slow), UNDECIDED),
        ("fan_reference_wrong", swapped | off | slow, UNDECIDED),
    ):
        made[fault] = np.where(where, np.minimum(np.nan_to_num(made[fault]), most), made[fault])
    return made


def _direction(work: Work, count: int) -> Floats:
    """+1 where all runs of a session pressurise, -1 where all depressurise, else 0."""
    session = np.repeat(np.arange(count), np.diff(work.batch.run_offsets))
    code = np.asarray(work.direction, dtype=np.int64)
    outward, inward = (np.bincount(session, code == direction, count) for direction in (0, 1))
    total = np.bincount(session, minlength=count)
    return np.where(total == 0, 0.0, np.where(inward == total, 1.0, np.where(outward == total, -1.0, 0.0)))


def _within(seen: Seen, level: Level, features: LineFeatures) -> Floats:
    """Change of the coefficient within a point over what noise makes of it; the greatest of a session."""
    count = seen.offsets.size - 1
    point = np.flatnonzero(seen.what == POINT)
    place, session = seen.place[point], seen.session[point]
    base = np.nan_to_num(medians(np.where(seen.what != POINT, seen.shown_pa, np.nan), seen.session, count))
    felt = seen.shown_pa[point] - base[session]
    share = noise.mean_share(seen.duration_s[point] / 3.0, noise.NOISE.time_scale_s)
    size = np.maximum(np.abs(felt), 3.0)
    drawn = features.point_flow_trend[place] - EXPONENT * features.point_trend_pa[place] * np.sign(felt) / size
    doubt = np.hypot(EXPONENT * np.sqrt(2.0 * share) * level.deviation_pa[session] / size, FLOW_TREND)
    found = np.full(count, np.nan)
    np.fmax.at(found, session, np.abs(drawn) / doubt)
    return found


def _noise_signs(seen: Seen, level: Level, features: LineFeatures | None) -> dict[str, Floats]:
    """offset_pa and offset (over what stack and wind explain), loud (noise that grows with flow), calm (noise lost)."""
    count = seen.offsets.size - 1
    baseline = (seen.what != POINT) & np.isfinite(seen.shown_pa)
    beyond = np.where(baseline, seen.shown_pa - level.stack_pa[seen.session], 0.0)
    largest = np.full(count, np.nan)
    np.fmax.at(largest, seen.session, np.where(baseline, np.abs(beyond), np.nan))
    farthest = np.full(count, np.nan)
    hit = np.flatnonzero(baseline & (np.abs(beyond) >= largest[seen.session]))
    farthest[seen.session[hit]] = beyond[hit]
    explained = np.sqrt(level.stack_tolerance_pa**2 + (OFFSET_TIMES * level.deviation_pa) ** 2 + GAUGE_ZERO_PA**2)
    log = np.log(np.hypot(_fast(seen, features), NOISE_FLOOR_PA))
    greatest = np.full(count, -np.inf)
    np.fmax.at(greatest, seen.session, np.where(seen.what == POINT, np.nan_to_num(seen.log_flow, nan=-np.inf), -np.inf))
    away = np.where(np.isfinite(greatest), greatest, 0.0)[seen.session]
    stream = np.where(seen.what == POINT, np.exp(4.0 * np.nan_to_num(seen.log_flow - away, nan=-np.inf)), 0.0)

    def median(which: Flags) -> Floats:
        return medians(np.where(which, log, np.nan), seen.session, count)

    before, later = median(seen.what == BEFORE), median(seen.what != BEFORE)
    return {
        "offset_pa": farthest,
        "offset": np.abs(farthest) / explained,
        "loud" if features is not None else "loud_by_spread": median(stream > HIGH_SHARE) - median(stream < LOW_SHARE),
        "calm": np.abs(before - later),
    }


def _fast(seen: Seen, features: LineFeatures | None) -> Floats:
    """Noise of single readings of each stretch [Pa]: what is new in each reading, or without traces its spread."""
    if features is None:
        return seen.spread_pa
    found = np.full(seen.what.size, np.nan)
    for what, values in enumerate((features.before_fast_pa, features.point_fast_pa, features.after_fast_pa)):
        here = seen.what == what
        found[here] = values[seen.place[here]]
    return found
