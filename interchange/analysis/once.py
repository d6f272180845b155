"""What depends on the readings alone, worked out once for all the rule sets that ask for it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

Found = TypeVar("Found")


class Once:
    """Answers of pure functions, kept as long as this object lives: one for each batch.

    Arguments count by identity, words and numbers by value. They are kept with the answer, so that no other can come
    to have the same identity. Nobody may write into an array that was given or found here.
    """

    def __init__(self) -> None:
        self._known: dict[tuple[Any, ...], tuple[Any, Any]] = {}

    def __call__(self, function: Callable[..., Found], *given: Any) -> Found:
        """What the function makes of the arguments."""
        key = (function, *(one if isinstance(one, (str, int, float)) else id(one) for one in given))
        if key not in self._known:
            self._known[key] = (given, function(*given))
        found: Found = self._known[key][1]
        return found
