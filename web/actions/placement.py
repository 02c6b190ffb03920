"""Says where a probe sits, from a page: the station takes it over with its next answer."""

from __future__ import annotations

from logger.condition.evidence import PLACES
from logger.errors import BadInput, NotAllowed
from logger.facts import Fact, fact
from logger.places import place_name
from logger.store import cup_tests, events, probe_checks, stations
from logger.words.phrase import phrase
from web.service.service import Service


def place_probe(service: Service, by: str, name: str, rom: str, place: str) -> None:
    """Put a probe at a place; the one that sits there goes where this one was. Raises BadInput, NotAllowed."""
    if place not in PLACES:
        raise BadInput(
            phrase("place"),
            phrase("is not one of the choices"),
            value=place,
            allowed=", ".join(PLACES),
            remedy=phrase("choose one"),
        )
    with service.store.write() as tx:
        station = stations.by_name(tx, name)
        live = probe_checks.in_live_pour(tx, station.id)
        if live is not None:
            raise NotAllowed(
                phrase("this station watches '{live}': its probes change no place during a pour", live=live)
            )
        if any(test.station_id == station.id for test in cup_tests.running(tx)):
            raise NotAllowed(phrase("a probe of this station stands in a cup: end that test first"))
        probe = probe_checks.probe(tx, station.id, rom)
        places = {rom: place}
        for other in stations.probes_of(tx, station.id):
            if other.place == place and other.rom != rom:
                places[other.rom] = probe.place
        text = fact("event-probes-placed", probes=[_placed(one, there) for one, there in places.items()])
        events.add_event(tx, None, service.timeline.true_ms(), "probe-placed", by, text, {"station": name})
    service.order_places(name, places)
    service.look_often(name)


def _placed(rom: str, place: str) -> Fact:
    return fact("probe-sits-at", rom=rom, place=place_name(place))
