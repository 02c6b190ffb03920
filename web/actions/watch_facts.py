"""What is not known or in doubt of the watch that a pour is about to have: who is called, do the probes read."""

from __future__ import annotations

from sqlalchemy import Connection

from logger.facts import Fact
from logger.store import page_queries, probe_checks, stations
from logger.store.rows import ListedPour, ProbeRow
from logger.words.phrase import phrase
from web.actions.message_test import untested
from web.service.service import Service

#: The readiness point that these facts belong to.
POINT = "watch"
#: A probe whose last good reading is older than this does not read, ms (this project's choice).
SILENT_MS = 10 * 60_000
#: Places in the resin, whose probes must follow it: how quickly is measured by a dip.
IN_RESIN = ("core", "surface", "underside")


def unknown_of_watch(service: Service, connection: Connection, pour: ListedPour) -> list[Fact]:
    """Return what is not known, a sentence each, with how to make it known; empty when all of it is."""
    unknown: list[Fact] = []
    unheard = untested(service)
    if unheard is not None:
        unknown.append(
            phrase(
                "{unheard} Set up a phone on the page “Messages to my phone”, and confirm its test message.",
                unheard=unheard,
            )
        )
    if pour.station_id is None:
        unknown.append(
            phrase(
                "No station is chosen: nothing watches this pour. Choose the one whose probes are in the form, on the "
                "pour's page."
            )
        )
        return unknown
    name = stations.by_id(connection, pour.station_id).name
    probes = page_queries.probes_of_pour(connection, pour)
    if not probes:
        unknown.append(
            phrase(
                "Station {name} has reported no probe yet. Switch it on, and see that its probes read.",
                name=name,
            )
        )
    now_ms = service.timeline.now_ms()
    if silent := [probe.place for probe in probes if _silent(probe, now_ms)]:
        unknown.append(
            phrase(
                "No good reading for 10 min of: {silent}. Look at the cable, and see that it reads.",
                silent=silent,
            )
        )
    return unknown


def doubts_of_watch(connection: Connection, pour: ListedPour) -> list[Fact]:
    """Return what the watch would be better for, a sentence each; none of it keeps a pour from starting."""
    if pour.station_id is None:
        return []
    undipped = [
        probe.place for probe in page_queries.probes_of_pour(connection, pour) if _undipped(connection, probe)
    ]
    if not undipped:
        return []
    return [
        phrase(
            "No dip has been measured of: {undipped}. How quickly it follows is not known: dip it "
            "into stirred water, from its page under Probes.",
            undipped=undipped,
        )
    ]


def _silent(probe: ProbeRow, now_ms: int) -> bool:
    return probe.last_good_ms is None or now_ms - probe.last_good_ms > SILENT_MS


def _undipped(connection: Connection, probe: ProbeRow) -> bool:
    if probe.place.partition("-")[0] not in IN_RESIN:
        return False
    checks = probe_checks.checks(connection, probe.rom)
    return probe_checks.newest_of(checks, probe_checks.DIP) is None
