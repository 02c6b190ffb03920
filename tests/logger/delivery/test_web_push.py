"""Web Push against its standards: the vectors of RFC 8291, and a receiver that reads it as RFC 8291 and 8292 say."""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from phone_receivers import free_port
from push_receiver import Browser, NotForUs, PushService, push_service

from logger.delivery.channels import MessageChannels
from logger.delivery.web_push import (
    LONGEST,
    SenderKey,
    Subscription,
    WebPush,
    decode,
    encode,
    encrypt,
    payload,
    subscription_of,
)
from logger.errors import BadInput

# RFC 8291, section 5 and appendix A: "Example" and "Intermediate Values for Encryption".
PLAIN = b"When I grow up, I want to be a watermelon"
AS_PUBLIC = "BP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A8"
AS_PRIVATE = "yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw"
UA_PUBLIC = "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"
UA_PRIVATE = "q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94"
SALT, AUTH = "DGv6ra1nlYgDCS1FRnbzlw", "BTBZMqHH6r4Tts7J_aSIgg"
BODY = (
    "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl"
    "7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN"
)


def private(text: str) -> ec.EllipticCurvePrivateKey:
    """A key of the vectors."""
    return ec.derive_private_key(int.from_bytes(decode(text), "big"), ec.SECP256R1())


def test_the_standards_example_comes_out_byte_for_byte() -> None:
    """RFC 8291, appendix A."""
    there = Subscription("https://push.example.net/push/x", decode(UA_PUBLIC), decode(AUTH), AS_PUBLIC)
    assert encode(encrypt(PLAIN, there, decode(SALT), private(AS_PRIVATE))) == BODY


def test_the_receiver_of_these_tests_reads_the_standards_example() -> None:
    """RFC 8291, appendix A, the other way: who judges is judged first."""
    assert Browser(private(UA_PRIVATE), decode(AUTH)).read(decode(BODY)) == PLAIN


@pytest.fixture
def service() -> Iterator[PushService]:
    """A push service on loopback."""
    with push_service() as made:
        yield made


@pytest.fixture
def key(tmp_path: Path) -> SenderKey:
    """A sender's key in a folder of its own."""
    return SenderKey(tmp_path)


def test_a_message_reaches_the_browser_that_it_is_for(service: PushService, key: SenderKey) -> None:
    """Signed by the sender that the browser listens to, urgent, kept for it for an hour, read by it alone."""
    url = service.subscribe(key.public).url
    assert MessageChannels(2, WebPush(key, "https://shop.test", 2))(
        url, "Hot", "Open: https://shop.test/a/x"
    ).taken
    (taken,) = service.taken
    assert json.loads(taken.text) == {
        "title": "Hot",
        "body": "Open: https://shop.test/a/x",
        "url": "https://shop.test/a/x",
    }
    assert (taken.headers["ttl"], taken.headers["urgency"]) == ("3600", "high")
    assert taken.claims["sub"] == "https://shop.test"
    assert "topic" not in taken.headers, "a later message must not take the place of one that waits"
    with pytest.raises(NotForUs):
        Browser.new().read(taken.body)


def test_a_word_that_was_altered_or_is_anothers_is_refused(
    service: PushService, key: SenderKey, tmp_path: Path
) -> None:
    """The receiver is no rubber stamp: another sender's word, and one that holds for too long, are refused."""
    url = service.subscribe(key.public).url
    far = WebPush(key, "https://shop.test", 2, now_s=lambda: 4e9)
    assert far.send(url, "Hot", "x").status == 403
    (tmp_path / "other").mkdir()
    other = SenderKey(tmp_path / "other")
    outcome = WebPush(other, "https://shop.test", 2).send(url, "Hot", "x")
    assert (outcome.taken, outcome.hopeless) == (False, True)
    assert "set it up again" in outcome.problem
    assert service.taken == []


def test_a_browser_that_left_is_hopeless_and_one_that_is_away_is_not(
    service: PushService, key: SenderKey
) -> None:
    """The first is told at once over the others; the second is tried again."""
    url = service.subscribe(key.public).url
    push = WebPush(key, "https://shop.test", 1)
    service.status = 410
    assert push.send(url, "Hot", "x").hopeless
    service.status = 503
    assert not push.send(url, "Hot", "x").hopeless
    nowhere = Subscription(
        f"http://127.0.0.1:{free_port()}/x", *(service.subscribe(key.public).keys), key.public
    )
    outcome = push.send(nowhere.url, "Hot", "x")
    assert (outcome.taken, outcome.hopeless) == (False, False)
    assert "does not answer" in outcome.problem


@pytest.mark.parametrize("sign", ["x", "é", "温", "🔥", '"'])
def test_a_long_message_is_cut_and_keeps_its_title_and_link(
    service: PushService, key: SenderKey, sign: str
) -> None:
    """A push service refuses more than 4096 bytes: no text may keep an alarm from arriving."""
    body = f"{sign * 4000}\nhttps://shop.test/a/token"
    assert len(payload("T" * 300, body)) <= LONGEST
    assert WebPush(key, "https://shop.test", 2).send(service.subscribe(key.public).url, "Hot", body).taken
    told = json.loads(service.taken[0].text)
    assert (told["title"], told["url"]) == ("Hot", "https://shop.test/a/token")
    assert len(told["body"].encode()) > 1900


def test_the_senders_key_is_made_once_and_read_by_its_user_alone(tmp_path: Path) -> None:
    """Whatever the umask says."""
    before = os.umask(0)
    try:
        made = SenderKey(tmp_path).public
    finally:
        os.umask(before)
    (file,) = tmp_path.iterdir()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert SenderKey(tmp_path).public == made
    assert len(decode(made)) == 65


@pytest.mark.parametrize(
    "endpoint",
    ["http://push.example/x", "file:///etc/passwd", "https://ada:pw@push.example/", "", "https://"],
)
def test_a_browser_may_not_name_any_address(endpoint: str) -> None:
    """An encrypted one, but for this machine itself."""
    with pytest.raises(BadInput, match="subscription"):
        subscription_of(endpoint, UA_PUBLIC, AUTH, AS_PUBLIC)
