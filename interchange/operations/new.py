"""Makes an empty archive with what its programme has agreed on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.errors import Place, Problem, UsageError
from interchange.operations.rules import load_rule_sets
from interchange.report.heads import Units

DEFAULT_RULE_SETS = (
    "as_displayed",
    "iso9972@2015",
    "astm-e1827-one-point@2011",
    "astm-e1827-two-point@2011",
    "as_reported",
)


def new_archive(
    root: Path,
    programme: str,
    time_zone: str | None = None,
    units: Units = "si",
    rule_sets: Sequence[str] = DEFAULT_RULE_SETS,
) -> Path:
    """Make an archive in a new or empty folder; return the folder.

    `time_zone` is the IANA zone of the houses, None where they lie in several: then times without an offset stay
    local. Raises UsageError for an unknown zone, RuleSetError for an unknown rule set, ArchiveError for the folder.
    """
    if time_zone is not None:
        try:
            ZoneInfo(time_zone)
        except (KeyError, ValueError, OSError):
            raise UsageError(
                Problem(
                    "time-zone-unknown",
                    Place("--time-zone"),
                    f"'{time_zone}'",
                    "the IANA name of a time zone",
                    "Give a name such as Europe/Dublin or America/Chicago.",
                )
            ) from None
    load_rule_sets(rule_sets)
    return Store.create(root, Settings(programme, time_zone, units, tuple(rule_sets))).root
