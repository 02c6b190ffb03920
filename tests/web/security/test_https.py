"""Encrypted connections end to end: a real certificate, the real server, a station's own client."""

from __future__ import annotations

import socket
import subprocess
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest
from needs import needs_program

from logger.daemon.forward import open_client
from logger.settings import Https, Settings
from web.server.serve import server_for
from web.service.service import Service

pytestmark = needs_program("openssl", "openssl")


def certificate(folder: Path, name: str) -> tuple[Path, Path]:
    """A certificate of one's own for 127.0.0.1, and its key."""
    cert, key = folder / f"{name}.pem", folder / f"{name}.key"
    subprocess.run(
        [
            "openssl",
            "req",
            "-x509",
            "-newkey",
            "ec",
            "-pkeyopt",
            "ec_paramgen_curve:P-256",
            "-nodes",
            "-days",
            "30",
            "-subj",
            f"/CN={name}",
            "-addext",
            "subjectAltName=IP:127.0.0.1",
            "-keyout",
            str(key),
            "-out",
            str(cert),
        ],
        check=True,
        capture_output=True,
    )
    return cert, key


@dataclass
class Secured:
    """A service that speaks HTTPS only."""

    port: int
    certificate: Path
    token: str

    @property
    def url(self) -> str:
        """Its address."""
        return f"https://127.0.0.1:{self.port}"


@pytest.fixture
def secured(service: Service, station_token: str, tmp_path: Path) -> Iterator[Secured]:
    """Running, with a certificate of its own."""
    cert, key = certificate(tmp_path, "workshop")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    service.settings = Settings(
        data_dir=service.settings.data_dir, port=port, https=Https(certificate=str(cert), key=str(key))
    )
    server, listening = server_for(service), threading.Event()
    server.on_listening = listening.set
    thread = threading.Thread(target=server.run)
    thread.start()
    assert listening.wait(20)
    yield Secured(port, cert, station_token)
    server.should_exit = True
    thread.join(20)


def test_a_station_speaks_to_the_one_certificate_that_its_file_names(secured: Secured, clock: Any) -> None:
    """The batch is stored over TLS; the cookie's name and the strict rule say that it was encrypted."""
    stamp = {"wall_ms": clock.wall_ms, "boot_id": "b", "boot_ms": clock.boot_ms, "clock_set": True}
    body = {"station": "bench-1", "spool": "s", "sent": stamp, "rows": []}
    with open_client(secured.url, certificate=secured.certificate) as client:
        answer = client.post("/api/batches", json=body, headers={"Authorization": f"Bearer {secured.token}"})
        assert answer.status_code == 200
        assert "strict-transport-security" in answer.headers


def test_another_certificate_and_none_are_refused_by_the_station(secured: Secured, tmp_path: Path) -> None:
    """Somebody between them cannot read the token: nothing is sent before the certificate is the right one."""
    other, _key = certificate(tmp_path, "somebody-else")
    for trusted in (other, None):
        with open_client(secured.url, certificate=trusted) as client, pytest.raises(httpx.ConnectError):
            client.get("/api/health")


def test_plain_http_is_not_answered_and_no_old_version_of_tls(secured: Secured) -> None:
    """With a certificate there is no way round it: no redirect, no answer; TLS 1.2 and 1.3 only."""
    with pytest.raises(httpx.TransportError):
        httpx.get(f"http://127.0.0.1:{secured.port}/api/health", timeout=5)
    spoken = {}
    for version in ("-tls1", "-tls1_1", "-tls1_2", "-tls1_3"):
        # SECLEVEL=0 so that the client's own side does not refuse it first.
        asked = [
            "openssl",
            "s_client",
            "-connect",
            f"127.0.0.1:{secured.port}",
            version,
            "-cipher",
            "DEFAULT:@SECLEVEL=0",
            "-CAfile",
            str(secured.certificate),
            "-brief",
        ]
        spoken[version] = subprocess.run(asked, input=b"", capture_output=True, check=False).returncode == 0
    assert spoken == {"-tls1": False, "-tls1_1": False, "-tls1_2": True, "-tls1_3": True}
