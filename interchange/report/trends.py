"""What shares of tests say, in words: what was counted, what was left out, and which groups are small."""

from __future__ import annotations

from collections.abc import Mapping

from interchange.table import counted

# Records that are no tests of an envelope, in the order they are named.
_OTHERS = {
    "summary": ("result without readings", "results without readings"),
    "not_tested": ("not tested", "not tested"),
    "other_test": ("other test", "other tests"),
    "monitoring": ("record without a fan", "records without a fan"),
    "weather": ("weather record", "weather records"),
}
_BY = {
    "building_type": "house type",
    "wind_band": "wind (calm: force 0 to 1, light: 2 to 3, strong: above)",
    "arrangement": "arrangement of the reference line",
    "month": "month of the test",
}


def flow_line(tests: int, others: Mapping[str, int], judged: Mapping[str, int]) -> str:
    """What was counted and what was left out, in one sentence.

    `others` are the other records by their kind, `judged` the tests by the rule set that judges them.
    """
    said = [f"{others[kind]:,} {words[others[kind] != 1]}" for kind, words in _OTHERS.items() if others.get(kind)]
    left_out = f"; {', '.join(said)} left out" if said else ""
    ranked = sorted(judged.items(), key=lambda one: (-one[1], one[0]))
    rules = [f"{count:,} {'judged ' if place == 0 else ''}by {name}" for place, (name, count) in enumerate(ranked)]
    unjudged = tests - sum(judged.values())
    if unjudged:
        rules.append(f"{unjudged:,} judged by no rule set")
    records = counted(tests + sum(others.values()), "record")
    return f"{records}: {counted(tests, 'test')}{left_out}{'; ' if rules else ''}{', '.join(rules)}."


def by_words(name: str) -> str:
    """What tests are grouped by, in words."""
    return _BY.get(name, name)


def share_words(found: int, asked: int, limits_percent: tuple[float, float] | None) -> str:
    """The share of all tests, with its 95 % interval."""
    if limits_percent is None:
        return "It could be told of no test."
    low, high = limits_percent
    return f"{found:,} of {counted(asked, 'test')}: {100.0 * found / asked:.1f} % (95 %: {low:.1f} to {high:.1f} %)."


def not_asked_words(groups: Mapping[str, int]) -> str:
    """Groups of which no test could be told."""
    return "told of no test: " + ", ".join(f"{name} ({counted(count, 'test')})" for name, count in groups.items())


def small_words(fewest: int) -> str:
    """What a small group is."""
    return (
        f"A group with fewer than {fewest} tests asked is small: it stands below the others, unranked. Groups are "
        "ranked as they are, not adjusted for the wind that each met."
    )


def no_estimates_words(words: str) -> str:
    """A measure that needs the best estimates, where there are none of this state of the archive."""
    return f"{words}: no best estimates of this state of the archive; the assess command makes them"
