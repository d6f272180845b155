"""Tests that are probably one and the same, in words."""

from __future__ import annotations

from collections.abc import Mapping

from interchange.table import counted

Came = tuple[str, str | None]  # file, and who sent it


def likeness_words(
    likeness: str, alike_as: str, first_job_id: str | None, first: Came, second: Came, readings: tuple[int, int]
) -> str:
    """One sentence on a pair: which record came later, and what of which other one it holds."""
    agreeing, fewer = readings
    shared = f"{agreeing} of {counted(fewer, 'reading')} the same" if fewer else "the same values, no readings"
    if alike_as == "copied_readings":
        what = f"holds readings of {_other(first_job_id)}: copied, or the same by chance"
    else:
        what = f"is {'' if likeness == 'certain' else 'probably '}the same test as {_other(first_job_id)}"
    return f"{_came(second)} {what} in {_came(first)} ({shared})"


def what_to_do(alike_as: str, first: str, second: str, delivery: str | None) -> str:
    """What may settle a pair; people decide."""
    if alike_as == "copied_readings":
        return "ask the crew which house the readings are of; then `decide` or `amend` the other"
    undo = f", or `undo {delivery}`" if delivery else ""
    return f"if the later one counts: `amend {second} supersedes {first}`; if the earlier: the other way round{undo}"


def brought_again_words(counts: Mapping[str, int]) -> list[str]:
    """What a delivery brought that was there already, by what it is alike as; nothing where there is none."""
    again, copied = counts["same_test"], counts["copied_readings"]
    said = [f"{counted(again, 'test')} probably the same as other tests in the archive"] if again else []
    said += [f"{counted(copied, 'test')} with readings that other tests hold too"] if copied else []
    return [f"{' and '.join(said)}; `interchange duplicates` lists them, with what differs"] if said else []


def _other(job_id: str | None) -> str:
    return f"job {job_id}" if job_id else "the one"


def _came(came: Came) -> str:
    return f"{came[0]} (from {came[1]})" if came[1] else came[0]
