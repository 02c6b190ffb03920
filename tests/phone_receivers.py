"""Servers on loopback that take what goes to a phone: mail with a sign-in, HTTP with the status that a test wants."""

from __future__ import annotations

import email
import email.policy
import json
import socket
import ssl
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from ipaddress import ip_address
from pathlib import Path
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID


@dataclass
class MailServer:
    """A mail server that knows one user. mails: (to, title, text) that it took; refused: addresses it does not know."""

    user: str = "watch@shop.test"
    password: str = "p/a#s@s:w?rd"
    port: int = 0
    mails: list[tuple[str, str, str]] = field(default_factory=list)
    refused: set[str] = field(default_factory=set)

    async def handle_RCPT(  # noqa: N802 - the library's name
        self, _server: Any, _session: Any, envelope: Any, address: str, _options: Any
    ) -> str:
        """One recipient."""
        if address in self.refused:
            return "550 no such user here"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:  # noqa: N802
        """One mail."""
        message = email.message_from_bytes(envelope.content, policy=email.policy.default)
        body = message.get_body(("plain", "html"))
        text = "" if body is None else body.get_content()
        self.mails.append((envelope.rcpt_tos[0], str(message["Subject"]), text))
        return "250 taken"

    def knows(self, _server: Any, _session: Any, _envelope: Any, _mechanism: str, data: Any) -> AuthResult:
        """Whether user and password are right."""
        right = (data.login.decode(), data.password.decode()) == (self.user, self.password)
        return AuthResult(success=right, handled=False)


def certificate(folder: Path) -> tuple[Path, Path]:
    """A certificate for 127.0.0.1 that vouches for itself, and its key, as PEM files."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "a mail server (invented)")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ip_address("127.0.0.1"))]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .sign(key, hashes.SHA256())
    )
    files = folder / "mail.pem", folder / "mail-key.pem"
    files[0].write_bytes(made.public_bytes(serialization.Encoding.PEM))
    files[1].write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
    )
    return files


@contextmanager
def mail_server(encryption: str = "none", files: tuple[Path, Path] | None = None) -> Iterator[MailServer]:
    """Such a server, running: without encryption, with STARTTLS, or with TLS from the first word."""
    made = MailServer(port=free_port())
    context = None
    if files is not None:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(*files)
    controller = Controller(
        made,
        hostname="127.0.0.1",
        port=made.port,
        authenticator=made.knows,
        auth_required=True,
        auth_require_tls=False,
        ssl_context=context if encryption == "tls" else None,
        tls_context=context if encryption == "starttls" else None,
        require_starttls=encryption == "starttls",
    )
    with warnings.catch_warnings():
        # On loopback in a test there is nobody to listen in.
        warnings.filterwarnings("ignore", "Requiring AUTH while not requiring TLS")
        controller.start()
        try:
            yield made
        finally:
            controller.stop()


@dataclass
class WebServer:
    """An HTTP server. taken: (path, headers, body) of each POST; status: what it answers."""

    port: int = 0
    status: int = 200
    taken: list[tuple[str, dict[str, str], bytes]] = field(default_factory=list)

    def take(self, path: str, headers: dict[str, str], body: bytes) -> int:
        """Take one message, or refuse it with the status that the test wants."""
        if self.status < 400:
            self.taken.append((path, headers, body))
        return self.status

    def titles(self) -> list[str]:
        """The titles of the JSON that it took."""
        return [json.loads(body)["title"] for _path, _headers, body in self.taken]


#: Takes a POST (path, headers in small letters, body) and returns the status to answer.
Take = Callable[[str, dict[str, str], bytes], int]


@contextmanager
def post_server(take: Take) -> Iterator[int]:
    """A server on loopback that answers each POST as `take` says; its port."""

    class Answers(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            self.send_response(take(self.path, {k.lower(): v for k, v in self.headers.items()}, body))
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            """Says nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Answers)
    thread = threading.Thread(target=server.serve_forever, args=(0.01,))
    thread.start()
    try:
        yield server.server_port
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@contextmanager
def web_server() -> Iterator[WebServer]:
    """Such a server, running."""
    made = WebServer()
    with post_server(made.take) as made.port:
        yield made


def free_port() -> int:
    """A loopback port on which nothing answers."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
