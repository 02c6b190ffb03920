"""Web Push: a message straight to a phone's or desktop's browser, by open standards alone.

RFC 8030 carries it, RFC 8291 with RFC 8188 (aes128gcm) encrypts it for that browser, RFC 8292 (VAPID) says who sends.
The arithmetic is the library cryptography's; loaded when it is first needed.
"""

from __future__ import annotations

import base64
import json
import os
import re
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import parse_qs, quote, urlencode, urlsplit

from logger.delivery.channels import Outcome, shown
from logger.errors import BadInput
from logger.settings import LOOPBACK
from logger.words.phrase import phrase

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

SCHEME = "webpush"
#: The file of the sender's key, in the data folder.
KEY_FILE = "web-push-key.pem"
#: A push service takes a body of 4096 bytes at least (RFC 8030, 7.2); header, padding mark and tag take 103 of them.
RECORD = 4096
LONGEST = RECORD - 86 - 1 - 16
#: How long a push service keeps a message for a phone that is off, s. A newer one comes in any case until somebody
#: has answered.
TTL_S = 3600
#: How long a sender's word holds, s: 24 h at most (RFC 8292, 2).
WORD_S = 12 * 3600


@dataclass(frozen=True, slots=True)
class Subscription:
    """Where a browser takes messages: its push service's address, its key and secret, and the sender it listens to."""

    endpoint: str
    p256dh: bytes
    auth: bytes
    key: str

    @property
    def url(self) -> str:
        """The subscription as a channel's address."""
        fields = {"e": self.endpoint, "p": encode(self.p256dh), "a": encode(self.auth), "k": self.key}
        return f"{SCHEME}://{urlsplit(self.endpoint).netloc}/?{urlencode(fields, quote_via=quote)}"


def subscription_of(endpoint: str, p256dh: str, auth: str, key: str) -> Subscription:
    """Return a subscription as a browser gives it. Raises BadInput."""
    parts = urlsplit(endpoint)
    # Only this machine itself may be spoken to without encryption.
    plain = parts.scheme == "http" and parts.hostname in LOOPBACK
    try:
        there = Subscription(endpoint, decode(p256dh), decode(auth), key)
    except ValueError:
        there = None
    sound = there is not None and (len(there.p256dh), there.p256dh[:1], len(there.auth)) == (65, b"\x04", 16)
    if (
        there is None
        or not sound
        or not parts.hostname
        or parts.username
        or not (parts.scheme == "https" or plain)
    ):
        raise BadInput(
            phrase("the browser's subscription"),
            phrase("cannot be read"),
            remedy=phrase("press the button again"),
        )
    return there


def subscription_of_url(url: str) -> Subscription:
    """Return the subscription in a channel's address. Raises BadInput."""
    fields = parse_qs(urlsplit(url).query)
    return subscription_of(*(fields.get(name, [""])[0] for name in ("e", "p", "a", "k")))


def encode(data: bytes) -> str:
    """Return base64url without padding."""
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def decode(text: str) -> bytes:
    """Return the bytes of base64url with or without padding. Raises ValueError."""
    if not re.fullmatch(r"[A-Za-z0-9_-]*={0,2}", text):
        raise ValueError("not base64url")
    return base64.urlsafe_b64decode(text.rstrip("=") + "=" * (-len(text.rstrip("=")) % 4))


class SenderKey:
    """The key by which browsers know this service: made when first needed, in a file that its user alone reads."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / KEY_FILE
        self._key: EllipticCurvePrivateKey | None = None

    def private(self) -> EllipticCurvePrivateKey:
        """Return the key. Raises OSError, ValueError where the file cannot be read or written."""
        from cryptography.hazmat.primitives import serialization
        from cryptography.hazmat.primitives.asymmetric import ec

        if self._key is None:
            if not self._path.exists():
                self._make()
            key = serialization.load_pem_private_key(self._path.read_bytes(), None)
            if not isinstance(key, ec.EllipticCurvePrivateKey) or key.curve.name != "secp256r1":
                raise ValueError(f"{self._path.name} holds no key of the curve P-256")
            self._key = key
        return self._key

    def _make(self) -> None:
        from cryptography.hazmat.primitives import serialization
        from cryptography.hazmat.primitives.asymmetric import ec

        pem = ec.generate_private_key(ec.SECP256R1()).private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
        part = self._path.with_name(f".{KEY_FILE}.{os.getpid()}")
        part.unlink(missing_ok=True)
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(pem)
                file.flush()
                os.fsync(file.fileno())
            # Whoever comes second keeps the first one's: browsers may listen to it already.
            os.link(part, self._path)
        except FileExistsError:
            pass
        finally:
            part.unlink(missing_ok=True)

    @property
    def public(self) -> str:
        """The public key as browsers take it. Raises as `private`."""
        return encode(_point(self.private()))


def _point(key: EllipticCurvePrivateKey) -> bytes:
    from cryptography.hazmat.primitives import serialization

    return key.public_key().public_bytes(
        serialization.Encoding.X962, serialization.PublicFormat.UncompressedPoint
    )


def encrypt(text: bytes, subscription: Subscription, salt: bytes, own: EllipticCurvePrivateKey) -> bytes:
    """Return a message encrypted for a browser, as one record. salt: 16 random bytes; own: a key for it alone.

    RFC 8291, 3.4, with the record of RFC 8188, 2.
    """
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM
    from cryptography.hazmat.primitives.hashes import SHA256
    from cryptography.hazmat.primitives.kdf.hkdf import HKDF

    theirs = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), subscription.p256dh)
    mine = _point(own)
    shared = own.exchange(ec.ECDH(), theirs)
    info = b"WebPush: info\x00" + subscription.p256dh + mine
    secret = HKDF(SHA256(), 32, subscription.auth, info).derive(shared)
    key = HKDF(SHA256(), 16, salt, b"Content-Encoding: aes128gcm\x00").derive(secret)
    nonce = HKDF(SHA256(), 12, salt, b"Content-Encoding: nonce\x00").derive(secret)
    header = salt + RECORD.to_bytes(4, "big") + bytes([len(mine)]) + mine
    return header + AESGCM(key).encrypt(nonce, text + b"\x02", None)


def sender_word(endpoint: str, subject: str, key: SenderKey, now_s: float) -> str:
    """Return the header by which the push service knows who sends (RFC 8292, 2 and 3)."""
    from cryptography.hazmat.primitives.asymmetric import ec, utils
    from cryptography.hazmat.primitives.hashes import SHA256

    parts = urlsplit(endpoint)
    claims = {"aud": f"{parts.scheme}://{parts.netloc}", "exp": int(now_s) + WORD_S, "sub": subject}
    signed = ".".join(
        encode(json.dumps(part, separators=(",", ":")).encode())
        for part in ({"typ": "JWT", "alg": "ES256"}, claims)
    )
    r, s = utils.decode_dss_signature(key.private().sign(signed.encode(), ec.ECDSA(SHA256())))
    signature = encode(r.to_bytes(32, "big") + s.to_bytes(32, "big"))
    return f"vapid t={signed}.{signature}, k={key.public}"


def payload(title: str, body: str) -> bytes:
    """Return what the browser is told, cut where a push service would refuse it: title, text and link, as JSON."""
    links = re.findall(r"https?://\S+", body)
    link = links[-1] if links else ""
    cut = body
    while True:
        text = json.dumps({"title": title[:300], "body": cut, "url": link}, ensure_ascii=False).encode()
        over = len(text) - LONGEST
        if over <= 0:
            return text
        cut = f"{cut[: max(0, len(cut) - max(over // 4, 1) - 1)]}…"


class WebPush:
    """Sends to browsers. subject: an address at which the push service finds who sends (RFC 8292, 2.1)."""

    def __init__(
        self, key: SenderKey, subject: str, timeout_s: float, now_s: Callable[[], float] = time.time
    ) -> None:
        self.key, self._subject, self._timeout_s, self._now_s = key, subject, timeout_s, now_s

    def problem_of(self, url: str) -> str | None:
        """Load what sending needs; return what is wrong with an address that no try can reach."""
        try:
            there = subscription_of_url(url)
            own = self.key.public
        except ModuleNotFoundError:
            return phrase(
                "{way}: Web Push needs the library cryptography: pip install 'pourlog[service]'",
                way=shown(url),
            )
        except (BadInput, OSError, ValueError) as error:
            why = error.fact if isinstance(error, BadInput) else str(error)
            return phrase("{way}: {why}", way=shown(url), why=why)
        if there.key != own:
            return phrase(
                "{way}: this browser listens to another key than this service's: set it up again on it",
                way=shown(url),
            )
        return None

    def send(self, url: str, title: str, body: str) -> Outcome:
        """Send one message to one browser."""
        problem = self.problem_of(url)
        if problem is not None:
            return Outcome(False, problem, hopeless=True)
        import httpx
        from cryptography.hazmat.primitives.asymmetric import ec

        there = subscription_of_url(url)
        own = ec.generate_private_key(ec.SECP256R1())
        headers = {
            "TTL": str(TTL_S),
            "Urgency": "high",
            "Content-Encoding": "aes128gcm",
            "Content-Type": "application/octet-stream",
            "Authorization": sender_word(there.endpoint, self._subject, self.key, self._now_s()),
        }
        content = encrypt(payload(title, body), there, os.urandom(16), own)
        try:
            answer = httpx.post(
                there.endpoint,
                content=content,
                headers=headers,
                timeout=self._timeout_s,
                trust_env=False,
                follow_redirects=False,
            )
        except httpx.HTTPError as error:
            silent = phrase(
                "{way}: the push service does not answer ({error})",
                way=shown(url),
                error=type(error).__name__,
            )
            return Outcome(False, silent)
        if answer.status_code in (200, 201, 202, 204):
            return Outcome(True)
        if answer.status_code in (404, 410):
            gone = phrase(
                "{way}: this browser takes no messages any more: set it up again on it", way=shown(url)
            )
            return Outcome(False, gone, hopeless=True, status=answer.status_code)
        problem = phrase(
            "{way}: the push service did not take the message (it answered {status})",
            way=shown(url),
            status=str(answer.status_code),
        )
        return Outcome(False, problem, status=answer.status_code)
