"""References of the two rule sets that are not a standard, apart from what computes: listing starts fast."""

from __future__ import annotations

DISPLAYED = "as_displayed"
REPORTED = "as_reported"  # looks at what a source says where it gives no readings, and recomputes nothing
