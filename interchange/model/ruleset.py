"""A rule set as data: which steps lead to the leakage, and what the test is held against.

A rule set is a file `ID@EDITION.toml` (or `ID.toml` where there are no editions). It names steps and checks of
`interchange.analysis` and their keywords, and says of each where it comes from. What the names and keywords may be,
`analysis` knows; the form here only keeps order.
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal, Self, TypeVar

from pydantic import Field, StringConstraints, ValidationError, ValidationInfo, field_validator, model_validator

from interchange.errors import Place, Problem, RuleSetError
from interchange.model.base import Form
from interchange.model.document import validation_problems
from interchange.resources import shipped

Name = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*$")]
Reference = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9_.-]*$")]
Words = Annotated[str, StringConstraints(min_length=1, max_length=1000)]
Rows = TypeVar("Rows")
Argument = bool | int | float | str
BuildingType = Literal["detached", "semi_detached", "terraced", "apartment", "manufactured", "non_residential", "other"]

# "read" in the source named; "from memory" of a standard whose text was not seen; "common practice" without a
# source; "physics" where it follows from what the words mean. Only what was read, or follows, can fail a test.
Provenance = Literal["read", "from memory", "common practice", "physics"]


class Rule(Form):
    """One step or check: its name, the keywords it is called with, and where it comes from."""

    name: Name = Field(description="name of the step or check")
    arguments: dict[Name, Argument] = Field(default={}, description="keywords; absent ones take their defaults")
    clause: Words | None = Field(default=None, description="clause of the standard")
    provenance: Provenance = Field(description="how the rule is known")
    source: Words = Field(description="where it was read, or what it rests on")


class Threshold(Form):
    """The most a test may leak, for all tests or for those of some climate zones or building types."""

    of: Literal["air_changes", "flow_per_envelope_area", "flow_per_floor_area"] = Field(description="what is limited")
    at_most: float = Field(gt=0, description="the limit, in the unit given")
    unit: Literal["1/h", "m3/h/m2", "cfm/ft2"] = Field(description="unit of the limit")
    at_pa: float = Field(default=50.0, gt=0, le=100, description="pressure [Pa] of the flow that is limited")
    climate_zones: tuple[Words, ...] = Field(
        default=(), description="climate zones it is for, as recorded; all if none"
    )
    building_types: tuple[BuildingType, ...] = Field(default=(), description="building types it is for; all if none")
    clause: Words | None = Field(default=None, description="clause of the programme's text")
    provenance: Provenance = Field(description="how the limit is known; only one that was read lets a test fail")
    source: Words = Field(description="where it was read, or what it rests on")

    @model_validator(mode="after")
    def _unit_of_the_right_kind(self) -> Self:
        if (self.of == "air_changes") != (self.unit == "1/h"):
            expected = "unit 1/h" if self.of == "air_changes" else "unit m3/h/m2 or cfm/ft2"
            raise ValueError(f"{expected} for {self.of}")
        return self

    @property
    def zones(self) -> frozenset[str]:
        """Climate zones as they are compared; none for all."""
        return frozenset(zone.strip().casefold() for zone in self.climate_zones)

    def takes_all_of(self, other: Threshold) -> bool:
        """Whether every test that another threshold is for is one of this."""
        zones = not self.zones or (bool(other.zones) and other.zones <= self.zones)
        kinds, others = set(self.building_types), set(other.building_types)
        return zones and (not kinds or (bool(others) and others <= kinds))

    def shares_with(self, other: Threshold) -> bool:
        """Whether some test can be one of both."""
        zones = not self.zones or not other.zones or bool(self.zones & other.zones)
        kinds, others = set(self.building_types), set(other.building_types)
        return zones and (not kinds or not others or bool(kinds & others))


class RuleSet(Form):
    """Steps and checks in order, and the kinds of test they are for."""

    id: Reference = Field(description="short name of the standard or practice")
    edition: Reference | None = Field(default=None, description="edition, as a year")
    title: Words = Field(description="title for people")
    applies_to: tuple[Literal["single_point", "two_point", "multi_point", "summary"], ...] = Field(
        min_length=1, description="kinds of test the rule set is for; one for summaries has checks and no steps"
    )
    status: Literal["current", "superseded", "practice", "preview"] = Field(
        description="standing of the standard; a preview computes values and judges nothing"
    )
    follows: Words | None = Field(
        default=None, description="shipped rule set whose steps and checks are taken where the file has none of its own"
    )
    steps: tuple[Rule, ...] = Field(default=(), description="corrections, fit, and what is made of it, in order")
    checks: tuple[Rule, ...] = Field(default=(), description="what the test is held against")
    thresholds: tuple[Threshold, ...] = Field(
        default=(), description="the most a test may leak; the first that is for a test counts"
    )

    @field_validator("checks", "thresholds")
    @classmethod
    def _a_preview_judges_nothing(cls, rows: Rows, info: ValidationInfo) -> Rows:
        if rows and info.data.get("status") == "preview":
            raise ValueError("none in a preview")
        return rows

    @field_validator("thresholds")
    @classmethod
    def _each_can_be_reached(cls, rows: tuple[Threshold, ...]) -> tuple[Threshold, ...]:
        for number, row in enumerate(rows[:-1], 1):
            if not (row.climate_zones or row.building_types):
                raise ValueError(
                    f"threshold {number}, which is for all tests, as the last: those behind it never count"
                )
        for number, row in enumerate(rows, 1):
            for other, before in enumerate(rows[: number - 1], 1):
                if before.takes_all_of(row):
                    raise ValueError(
                        f"threshold {number} before threshold {other}, which is for all tests that it is for: "
                        "the first that is for a test counts"
                    )
        return rows

    @property
    def judges(self) -> bool:
        """Whether checks and verdicts follow from it."""
        return self.status != "preview"

    @property
    def reference(self) -> str:
        """Id and edition, as the file is named and results say it."""
        return self.id if self.edition is None else f"{self.id}@{self.edition}"


def remarks(rules: RuleSet, file: str) -> list[Problem]:
    """What is allowed in thresholds, and perhaps not meant: tests that two are for, tests that none is for."""
    found = []
    rows = rules.thresholds
    for number, row in enumerate(rows, 1):
        for other, before in enumerate(rows[: number - 1], 1):
            if before.shares_with(row) and not row.takes_all_of(before):
                said = f"thresholds {other} and {number}, both for some tests"
                expected = "one threshold for a test, or the stricter case first"
                cure = f"For a test of both, threshold {other} counts. Change their order if that is not meant."
                found.append(Problem("threshold-overlap", Place(file, column="thresholds"), said, expected, cure))
    if rows and (rows[-1].climate_zones or rows[-1].building_types):
        said, expected = "no threshold for all other tests", "a last threshold without climate_zones and building_types"
        cure = "Tests that none is for are not asked. Add one for all if that is not meant."
        found.append(Problem("threshold-gap", Place(file, column="thresholds"), said, expected, cure))
    return found


def folder() -> Path:
    """Folder of the rule sets that ship with the package."""
    return shipped("schema") / "rules"


def references() -> tuple[str, ...]:
    """References of the rule sets that ship with the package."""
    return tuple(sorted(path.stem for path in folder().glob("*.toml")))


def named(reference: str) -> RuleSet:
    """A rule set that ships with the package. Raises RuleSetError where there is none of that name."""
    if reference not in references():
        known = "one of " + ", ".join(references())
        cure = "Correct the name, or give the path of a file."
        raise RuleSetError(Problem("rule-set", Place(reference), f"rule set {reference!r}", known, cure, blocks="file"))
    return load(folder() / f"{reference}.toml")


def load(path: Path) -> RuleSet:
    """Read a rule set from a file. Raises RuleSetError with one problem for each fault, placed in the file."""
    file = path.name
    try:
        document = _with_followed(tomllib.loads(path.read_bytes().decode("utf-8")), file)
        rules = RuleSet.model_validate_json(_as_json(document))
    except OSError as error:
        raise _at_fault("rule-file", file, str(error.strerror), "a file that can be read", "Check the path.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise _at_fault("rule-text", file, str(error), "TOML in UTF-8", "Correct the file.") from None
    except ValidationError as error:
        raise RuleSetError(*validation_problems(error, file)) from None
    if path.stem != rules.reference:
        raise _at_fault("rule-name", file, f"rule set {rules.reference!r}", f"{path.stem!r}", "Rename the file.")
    return rules


def well_formed_parts(path: Path) -> tuple[tuple[Rule, ...], tuple[Rule, ...]]:
    """Steps and checks of a file at fault, if all of a kind can be read; none where not."""
    try:
        document = tomllib.loads(path.read_bytes().decode("utf-8"))
    except (OSError, tomllib.TOMLDecodeError, UnicodeDecodeError):
        return (), ()
    return _rows_of(document.get("steps")), _rows_of(document.get("checks"))


def _rows_of(rows: Any) -> tuple[Rule, ...]:
    try:
        return tuple(Rule.model_validate_json(json.dumps(row, default=str)) for row in rows or ())
    except (ValidationError, TypeError):
        return ()


def _with_followed(document: dict[str, Any], file: str) -> dict[str, Any]:
    """The document with the steps and checks of the rule set it follows, where it has none of its own."""
    followed = document.get("follows")
    if followed is None:
        return document
    if followed not in references():
        place, expected = Place(file, column="follows"), "one of " + ", ".join(references())
        cure = "Correct the name."
        raise RuleSetError(Problem("rule-follows", place, repr(followed), expected, cure, blocks="file"))
    base = tomllib.loads((folder() / f"{followed}.toml").read_text(encoding="utf-8"))
    return {"steps": base.get("steps", []), "checks": base.get("checks", []), **document}


def _as_json(document: dict[str, object]) -> str:
    """TOML as JSON text, so that lists become tuples; dates and infinities have no place and become text."""
    return json.dumps(document, default=str)


def _at_fault(code: str, file: str, found: str, expected: str, cure: str) -> RuleSetError:
    return RuleSetError(Problem(code, Place(file), found, expected, cure, blocks="file"))
