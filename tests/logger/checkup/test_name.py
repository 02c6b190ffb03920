"""Who answers for a .local name: packets as RFC 1035 and RFC 6762 lay them out, over a real socket."""

from __future__ import annotations

import socket
import struct
import threading
from collections.abc import Callable
from typing import Any

import pytest

from logger.diagnosis import name as naming
from logger.diagnosis.look import Outside, Places, look
from logger.diagnosis.name import addresses_in, who_answers
from logger.settings import Settings

#: A name as labels, by hand (RFC 1035, 3.1).
POUR = b"\x04pour\x05local\x00"


def answer(question: bytes, *addresses: str) -> bytes:
    """A responder's packet: the question again, then A records, whose names point back to it (RFC 1035, 4.1.4)."""
    number = question[:2]
    records = b"".join(
        b"\xc0\x0c" + struct.pack(">HHIH", 1, 1, 10, 4) + socket.inet_aton(address) for address in addresses
    )
    text = b"\xc0\x0c" + struct.pack(">HHIH", 16, 1, 10, 3) + b"\x02ok"
    header = number + struct.pack(">HHHHH", 0x8400, 1, len(addresses) + 1, 0, 0)
    return header + question[12:] + text + records


@pytest.fixture
def responder() -> Any:
    """A responder on loopback that does with a question what the test says."""
    threads: list[threading.Thread] = []
    sockets: list[socket.socket] = []

    def begin(says: Callable[[int, bytes], list[bytes]]) -> tuple[str, int]:
        heard = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        heard.bind(("127.0.0.1", 0))
        sockets.append(heard)

        def run() -> None:
            for count in range(3):
                question, whose = heard.recvfrom(9000)
                if not question:
                    return
                for packet in says(count, question):
                    heard.sendto(packet, whose)

        threads.append(threading.Thread(target=run, daemon=True))
        threads[-1].start()
        return heard.getsockname()  # type: ignore[no-any-return]

    yield begin
    for heard, thread in zip(sockets, threads, strict=True):
        # An empty packet ends the responder at once: closing its socket would not wake it.
        heard.sendto(b"", heard.getsockname())
        thread.join(6)
        heard.close()


def test_the_question_is_a_standard_one_and_its_answer_is_read(responder: Any) -> None:
    """A lost first question is asked again; a packet that answers something else is let pass."""
    asked = []

    def says(count: int, question: bytes) -> list[bytes]:
        asked.append(question)
        stray = b"\xff\xff" + answer(question, "192.0.2.1")[2:]
        return [] if count == 0 else [b"junk", stray, answer(question, "192.0.2.7", "192.0.2.8")]

    assert who_answers("pour.local", "127.0.0.1", responder(says)) == ("192.0.2.7", "192.0.2.8")
    assert asked[0][2:] == struct.pack(">HHHHH", 0, 1, 0, 0, 0) + POUR + struct.pack(">HH", 1, 1)


def test_nobody_answers(responder: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """No responder, or no network at all: an empty answer, in time."""
    monkeypatch.setattr(naming, "WAIT_S", 0.02)
    assert who_answers("pour.local", "127.0.0.1", responder(lambda _count, _question: [])) == ()
    assert who_answers("pour.local", "no address") == ()


def test_damaged_packets_are_no_answers() -> None:
    """Cut anywhere, or changed in any byte: never an exception."""
    packet = answer(struct.pack(">HHHHHH", 7, 0, 1, 0, 0, 0) + POUR + struct.pack(">HH", 1, 1), "192.0.2.7")
    assert addresses_in(packet, 7) == ("192.0.2.7",)
    assert addresses_in(packet, 8) == ()
    assert addresses_in(packet[:2] + b"\x00\x00" + packet[4:], 7) == (), "a question is no answer"
    for end in range(len(packet)):
        assert addresses_in(packet[:end], 7) == ()
    for at in range(len(packet)):
        for value in (0x00, 0xC0, 0xFF):
            addresses_in(packet[:at] + bytes([value]) + packet[at + 1 :], 7)


def test_the_name_that_phones_are_given_is_asked_for(tmp_path: Any, clock: Any) -> None:
    """The public_url's, where it ends with .local; a number needs nobody to answer for it."""
    asked = []

    def who(host: str, address: str) -> tuple[str, ...]:
        asked.append(host)
        return (address,)

    for url in ("http://pour.local:8080", "http://192.0.2.7:8080", None):
        settings = Settings(data_dir=str(tmp_path), port=9, public_url=url)
        facts = look(
            clock, None, settings, outside=Outside(Places(*[tmp_path / "nothing"] * 6, ()), who_answers=who)
        )
        if facts.address is not None:
            assert (facts.name is None) is (url is None or "pour" not in url)
    assert asked in ([], ["pour.local"])
