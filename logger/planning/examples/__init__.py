"""Two plans of a fictional workshop: one with five mistakes, one with them mended. All data invented."""

from __future__ import annotations

from pathlib import Path

#: The folder of the example plans.
EXAMPLES = Path(__file__).parent
