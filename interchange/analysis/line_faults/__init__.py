"""Detectors of line and handling faults; `interchange.analysis.reference_line` puts them side by side."""
