"""Enrols a station: its token, and its files where it runs on the service's own machine."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from logger.daemon import new_station
from logger.errors import BadInput
from logger.settings import EVERYWHERE, LOOPBACK, Settings, own_address
from logger.store import events, stations
from logger.words.phrase import phrase
from web.service.service import Service

#: Where a station is: on this machine with the probes that hang on it, or with played ones, or on another machine.
HERE, SIMULATED, ELSEWHERE = "here", "simulated", "elsewhere"


@dataclass(frozen=True, slots=True)
class Offer:
    """What the form of enrolment starts from: a name, how many probes hang here, and which places can be chosen."""

    name: str
    probes: int
    here: bool
    installed: bool

    @property
    def where(self) -> str:
        """The choice that stands there first: this machine where probes hang on it. Never played ones."""
        return HERE if self.here and self.probes else ELSEWHERE


@dataclass(frozen=True, slots=True)
class Enrolled:
    """An enrolled station, and what is left to do: start it by a line here, or paste a line there."""

    name: str
    token: str
    where: str
    start: str = ""
    paste: str = ""
    probes: int = 0
    #: Whether the address in the line leads to this machine from another one.
    reached: bool = True


def offer(service: Service) -> Offer:
    """Return what the form of enrolment starts from."""
    installed = (new_station.INSTALLED / "station.head.toml").exists()
    # An installed station has a user of its own that reads nothing of the service's: there the installation enrols it.
    here = not installed and service.store.is_sqlite and os.access(service.settings.data_dir, os.W_OK)
    return Offer(new_station.own_name(), len(new_station.probes_here()), here, installed)


def enrol(service: Service, by: str, name: str, where: str, asked_at: str) -> Enrolled:
    """Enrol a station. `asked_at`: where the board was opened. Raises BadInput before anything is done."""
    given = offer(service)
    if where not in (HERE, SIMULATED, ELSEWHERE) or (where != ELSEWHERE and not given.here):
        raise BadInput(
            phrase("where"),
            phrase("is not one of the choices"),
            value=where,
            remedy=phrase("choose where the station runs"),
        )
    probes = new_station.probes_here() if where == HERE else []
    if where == HERE and not probes:
        raise BadInput(
            phrase("where"),
            phrase("no probe is plugged into this machine"),
            remedy=phrase(
                "plug one in (4.7 kΩ between data and 3.3 V; see how they are wired), then press again"
            ),
        )
    url = _url_here(service.settings) if where != ELSEWHERE else _url_there(service.settings, asked_at)
    path = station_path(service, name)
    content = new_station.station_content(path, name, url, probes, simulated=where == SIMULATED)
    if where != ELSEWHERE and service.settings.https.certificate is not None:
        content["service_certificate"] = str(Path(service.settings.https.certificate).resolve())
    now_ms = service.timeline.true_ms()
    with service.store.write() as tx:
        _row, token = stations.enrol(tx, name, now_ms)
        events.add_event(tx, None, now_ms, "station-enrolled", by, name)
    if where == ELSEWHERE:
        asked_elsewhere = urlsplit(asked_at).hostname not in LOOPBACK
        reached = (
            asked_elsewhere or service.settings.host not in LOOPBACK or service.settings.https.behind_proxy
        )
        line = new_station.line_to_paste(name, url, token)
        return Enrolled(name, token, where, paste=line, reached=reached)
    new_station.write_station(path, content, token)
    count = len(content["probe"])
    return Enrolled(name, token, where, start=new_station.start_line(path), probes=count)


def station_path(service: Service, name: str) -> Path:
    """Return the file of a station of this machine: in the service's own folder, each station's in one of its own."""
    checked = new_station.checked_name(name)
    return Path(service.settings.data_dir) / "stations" / checked / "station.toml"


def _url_here(settings: Settings) -> str:
    """Return the service's address on this machine."""
    if settings.https.certificate is not None:
        return settings.link_base
    host = "127.0.0.1" if settings.host in EVERYWHERE else settings.host
    return f"http://{f'[{host}]' if ':' in host else host}:{settings.port}"


def _url_there(settings: Settings, asked_at: str) -> str:
    """Return the address at which the board was just opened; from the machine itself, the one that others reach."""
    asked = asked_at.rstrip("/")
    if urlsplit(asked).hostname not in LOOPBACK:
        return asked
    if settings.phones_reach_it:
        return settings.link_base
    return f"http://{own_address()}:{settings.port}"
