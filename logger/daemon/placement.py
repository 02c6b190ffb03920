"""Where probes sit, as somebody has said it on a page: kept beside the spool, over what the station file says.

The station may not write its own file, which an administrator owns. What a page says counts until that file places its
probes otherwise: whoever edits it, or places them by hand, has the last word.
"""

from __future__ import annotations

import hashlib
import json
import logging
import os
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from hardware.station import ProbeWiring, Wiring

log = logging.getLogger(__name__)

PLACE = re.compile(r"[a-z][a-z0-9-]{0,39}")


def file_of(spool_file: Path) -> Path:
    """Return where a station with this spool keeps its places."""
    return spool_file.with_name(spool_file.stem + ".places.json")


def as_placed(wiring: Wiring, spool_file: Path) -> Wiring:
    """Return the wiring with the places that a page has given since the station file placed its probes."""
    places = read_places(wiring, spool_file)
    return wiring if not places else with_places(wiring, places)


def with_places(wiring: Wiring, places: Mapping[str, str]) -> Wiring:
    """Return the wiring with other places for some of its probes."""

    def placed(probes: tuple[ProbeWiring, ...]) -> tuple[ProbeWiring, ...]:
        return tuple(replace(probe, place=places.get(probe.id, probe.place)) for probe in probes)

    return replace(
        wiring,
        probes=placed(wiring.probes),
        air=placed(wiring.air),
        thermocouples=placed(wiring.thermocouples),
    )


def read_places(wiring: Wiring, spool_file: Path) -> dict[str, str]:
    """Return the places that are kept for this station file; none where it has placed its probes anew since."""
    try:
        content = json.loads(file_of(spool_file).read_text(encoding="utf-8"))
        if content["of"] != digest_of(wiring):
            return {}
        return {
            str(rom): str(place) for rom, place in content["places"].items() if PLACE.fullmatch(str(place))
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def keep_places(wiring: Wiring, spool_file: Path, places: Mapping[str, str]) -> None:
    """Keep places over those of the station file. `wiring`: as that file has it. Raises OSError."""
    path = file_of(spool_file)
    beside = path.with_name(path.name + ".new")
    text = json.dumps({"of": digest_of(wiring), "places": {**read_places(wiring, spool_file), **places}})
    with beside.open("w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)


def digest_of(wiring: Wiring) -> str:
    """Return what a station file says of places, in short: its probes and where each sits, and nothing else of it."""
    text = "\n".join(
        f"{probe.id} {probe.place}" for probe in sorted(wiring.all_probes, key=lambda one: one.id)
    )
    return hashlib.sha256(text.encode()).hexdigest()
