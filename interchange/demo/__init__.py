"""Maker of the invented programme: physics, layouts written, truth. Knows neither reading nor analysis."""

from interchange.demo.make import make
from interchange.demo.samples import samples

__all__ = ["make", "samples"]
