"""The table of alarms as a page of text, so that nobody keeps a second copy by hand.

`python -m web.documents` writes it to logger/alarms/TABLE.md; a test fails when the file and the table differ.
"""

from __future__ import annotations

from pathlib import Path

import logger.alarms
from logger.alarms.registry import KINDS, MATRIX, Harm, Kind
from logger.words.reader import METRIC
from logger.words.render import say

#: Where the table is kept.
TABLE = Path(str(logger.alarms.__file__)).with_name("TABLE.md")


def table_markdown() -> str:
    """Return every kind with all its columns, and the priority matrix, as Markdown, in English, SI and °C."""
    lines = [
        "# The alarms",
        "",
        "Written by `python -m web.documents`; do not edit by hand.",
        "",
        "Priority = what is at stake × time to respond:",
        "",
        "| respond within | " + " | ".join(str(harm) for harm in Harm) + " |",
        "|---|" + "---|" * len(Harm),
    ]
    for until_min, *priorities in MATRIX:
        until = "longer" if until_min == float("inf") else f"{until_min:g} min"
        lines.append(f"| {until} | " + " | ".join(str(priority) for priority in priorities) + " |")
    for kind in KINDS.values():
        lines += ["", *_section(kind)]
    return say("\n".join(lines), METRIC) + "\n"


def _section(kind: Kind) -> list[str]:
    n, m = kind.n_of_m
    out = (
        "until put back" if kind.out_of_service_max_h is None else f"at most {kind.out_of_service_max_h:g} h"
    )
    deadband = kind.deadband_shown or "none"
    return [
        f"## {kind.name}: {kind.title}",
        "",
        f"- Priority: {kind.priority} ({kind.harm}; respond within {kind.respond_within_min:g} min)",
        f"- About: one for each {kind.subject}",
        f"- Raised when: {kind.limit}",
        f"- The limit comes from: {kind.limit_source}",
        f"- Deadband {deadband}; on-delay {kind.on_delay_s:g} s; off-delay {kind.off_delay_s:g} s; "
        f"{n} of {m} readings{'; latching' if kind.latching else ''}",
        f"- Reminder every {kind.repeat_min:g} min until acknowledged; raised again when it still holds "
        f"{kind.realarm_min:g} min after that",
        f"- Shelved for {kind.shelve_max_h:g} h at most; out of service {out}",
        f"- If nobody does anything: {kind.consequence}",
        f"- Likely causes: {'; '.join(say(cause, METRIC) for cause in kind.causes)}",
        "- What to do:",
        *(f"  {i}. {step}" for i, step in enumerate(kind.what_to_do, 1)),
    ]
