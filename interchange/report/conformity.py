"""What is said of a programme's thresholds: which is for a test, whether it is met, why nobody can tell."""

from __future__ import annotations

_OF = {
    "air_changes": "air changes",
    "flow_per_envelope_area": "flow per envelope area",
    "flow_per_floor_area": "flow per floor area",
}
_CAUSES = {
    "climate_zone_unknown": "the climate zone is not recorded",
    "building_type_unknown": "the building type is not recorded",
    "no_flow": "no flow could be worked out",
    "size_unknown": "the volume or area that it is per is not recorded",
    "flow_unreliable": "the flow at 50 Pa cannot be relied on",
    "limit_not_read": "it is not met, but its limit was not read in a source",
}
_ANSWERS = {
    "yes": "met",
    "no": "not met",
    "cannot_tell": "cannot be told",
    "not_asked": "not asked, as none is for this test",
}


def threshold_words(number: int, of: str, at_pa: float, cause: str) -> str:
    """A threshold in words, and why nobody can tell whether it is met. Raises KeyError for unknown words."""
    words = f"threshold {number}, {_OF[of]} at {at_pa:g} Pa"
    return f"{words}: {_CAUSES[cause]}" if cause else words


def conforms_sentence(answer: str, because: str) -> str:
    """Whether a test meets the thresholds. Raises KeyError for an unknown answer."""
    return f"Thresholds of the programme: {_ANSWERS[answer]}{f' ({because})' if because else ''}."
