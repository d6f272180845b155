"""Open interchange form, archive and leakage recomputation for fan-pressurisation tests of houses."""

__version__ = "0.1.0"
