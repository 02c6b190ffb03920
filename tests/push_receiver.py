"""A push service and a browser behind it, as the standards say, written apart from the product for its tests.

Who sends is proven as in RFC 8292 (ES256 over the audience, 24 h at most), the body is read as in RFC 8291 and 8188,
and what RFC 8030 requires of a request is required.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from cryptography.exceptions import InvalidSignature, InvalidTag
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, utils
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from phone_receivers import post_server

from logger.delivery.web_push import Subscription


class NotForUs(Exception):
    """What came was not encrypted for this browser."""


def un64(text: str) -> bytes:
    """Bytes of base64url without padding."""
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def extract(salt: bytes, secret: bytes) -> bytes:
    """HKDF-Extract with SHA-256 (RFC 5869, 2.2)."""
    return hmac.digest(salt, secret, hashlib.sha256)


def expand(key: bytes, info: bytes, length: int) -> bytes:
    """HKDF-Expand of at most one block (RFC 5869, 2.3)."""
    return hmac.digest(key, info + b"\x01", hashlib.sha256)[:length]


@dataclass
class Browser:
    """What a browser keeps of a subscription: its private key and its secret."""

    key: ec.EllipticCurvePrivateKey
    auth: bytes

    @classmethod
    def new(cls) -> Browser:
        """A new subscription."""
        return cls(ec.generate_private_key(ec.SECP256R1()), os.urandom(16))

    @property
    def public(self) -> bytes:
        """Its public key, uncompressed."""
        return self.key.public_key().public_bytes(
            serialization.Encoding.X962, serialization.PublicFormat.UncompressedPoint
        )

    def read(self, body: bytes) -> bytes:
        """Decrypts a body of one record. Raises NotForUs."""
        salt, size, length = body[:16], int.from_bytes(body[16:20], "big"), body[20]
        sender, record = body[21 : 21 + length], body[21 + length :]
        assert length == 65, "RFC 8291, 4: the key id is the sender's public key"
        assert size >= 18, "RFC 8188, 2.1"
        assert len(record) <= size, "RFC 8291, 4: one record"
        theirs = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), sender)
        shared = self.key.exchange(ec.ECDH(), theirs)
        secret = expand(extract(self.auth, shared), b"WebPush: info\x00" + self.public + sender, 32)
        start = extract(salt, secret)
        key = expand(start, b"Content-Encoding: aes128gcm\x00", 16)
        nonce = expand(start, b"Content-Encoding: nonce\x00", 12)
        try:
            padded = AESGCM(key).decrypt(nonce, record, None)
        except InvalidTag as error:
            raise NotForUs from error
        text = padded.rstrip(b"\x00")
        assert text.endswith(b"\x02"), "RFC 8188, 2: the last record's mark"
        return text[:-1]


@dataclass(frozen=True)
class Taken:
    """One message that the service took and the browser read."""

    headers: dict[str, str]
    claims: dict[str, Any]
    body: bytes
    text: bytes


@dataclass(frozen=True)
class Subscribed:
    """A subscription as a page hands it on."""

    endpoint: str
    public: bytes
    auth: bytes
    sender: str

    @property
    def keys(self) -> tuple[bytes, bytes]:
        """The browser's key and secret."""
        return self.public, self.auth

    @property
    def url(self) -> str:
        """As the product keeps it."""
        return Subscription(self.endpoint, self.public, self.auth, self.sender).url


@dataclass
class PushService:
    """The service. status: what it answers to a request that is sound."""

    port: int = 0
    status: int = 201
    taken: list[Taken] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    _browsers: dict[str, tuple[Browser, str]] = field(default_factory=dict)

    def subscribe(self, sender: str) -> Subscribed:
        """A browser subscribes, for one sender's key."""
        browser, path = Browser.new(), f"/push/{len(self._browsers)}"
        self._browsers[path] = (browser, sender)
        return Subscribed(f"http://127.0.0.1:{self.port}{path}", browser.public, browser.auth, sender)

    def take(self, path: str, headers: dict[str, str], body: bytes) -> int:
        """One request; the status to answer."""
        if path not in self._browsers:
            return 404
        browser, sender = self._browsers[path]
        try:
            claims = self._proven(headers.get("authorization", ""), sender)
        except (AssertionError, InvalidSignature, ValueError, KeyError) as error:
            self.refused.append(repr(error))
            return 403
        if "ttl" not in headers:  # RFC 8030, 5.2
            return 400
        if len(body) > 4096:  # RFC 8030, 7.2: what every service takes
            return 413
        if headers.get("content-encoding") != "aes128gcm":
            return 415
        if self.status < 300:
            self.taken.append(Taken(headers, claims, body, browser.read(body)))
        return self.status

    def _proven(self, word: str, sender: str) -> dict[str, Any]:
        scheme, _, rest = word.partition(" ")
        assert scheme == "vapid", "RFC 8292, 3"
        parameters = dict(part.strip().split("=", 1) for part in rest.split(","))
        assert parameters["k"] == sender, "RFC 8292, 4.2: the key that the subscription is restricted to"
        head, claims, signature = parameters["t"].split(".")
        assert json.loads(un64(head))["alg"] == "ES256"
        raw = un64(signature)
        assert len(raw) == 64, "RFC 7518, 3.4"
        public = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), un64(parameters["k"]))
        der = utils.encode_dss_signature(int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big"))
        public.verify(der, f"{head}.{claims}".encode(), ec.ECDSA(hashes.SHA256()))
        said: dict[str, Any] = json.loads(un64(claims))
        assert said["aud"] == f"http://127.0.0.1:{self.port}", "RFC 8292, 2"
        assert 0 < said["exp"] - time.time() <= 24 * 3600, "RFC 8292, 2"
        return said


@contextmanager
def push_service() -> Iterator[PushService]:
    """Such a service, running."""
    made = PushService()
    with post_server(made.take) as made.port:
        yield made
