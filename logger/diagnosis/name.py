"""Who in this network answers for a .local name: a question by multicast DNS, as a phone asks it (RFC 6762)."""

from __future__ import annotations

import secrets
import socket
import struct
import time

GROUP, PORT = "224.0.0.251", 5353
#: Responders answer within 120 ms (RFC 6762, 6); asked again, since a packet may be lost on the air.
WAIT_S, TIMES = 0.7, 3
A, IN = 1, 1


def who_answers(host: str, address: str, to: tuple[str, int] = (GROUP, PORT)) -> tuple[str, ...]:
    """Return the IPv4 addresses of `host` in the first answer. `address`: this machine's, whose network is asked.

    Empty when nobody answers. The question comes from a port of its own, so that it is answered to us alone (6.7).
    """
    number = secrets.randbits(16)
    question = struct.pack(">HHHHHH", number, 0, 1, 0, 0, 0) + _name(host) + struct.pack(">HH", A, IN)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        asking.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, 255)
        try:
            if to[0] == GROUP:
                asking.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(address))
            asking.bind(("", 0))
            for _ in range(TIMES):
                asking.sendto(question, to)
                addresses = _first_answer(asking, number)
                if addresses:
                    return addresses
        except OSError:
            return ()  # no network to ask
    return ()


def _first_answer(asking: socket.socket, number: int) -> tuple[str, ...]:
    """Return the addresses in the first packet that answers question `number`; empty when none comes in time."""
    until_s = time.monotonic() + WAIT_S
    while (left_s := until_s - time.monotonic()) > 0:
        asking.settimeout(left_s)
        try:
            addresses = addresses_in(asking.recv(9000), number)
        except TimeoutError:
            return ()
        if addresses:
            return addresses
    return ()


def addresses_in(packet: bytes, number: int) -> tuple[str, ...]:
    """Return the IPv4 addresses in a packet that answers question `number`; none in any other packet."""
    try:
        got, flags, questions, answers, _, _ = struct.unpack_from(">HHHHHH", packet)
        if got != number or not flags & 0x8000:
            return ()
        at = 12
        for _ in range(questions):
            at = _after_name(packet, at) + 4
        addresses = []
        for _ in range(answers):
            at = _after_name(packet, at)
            kind, _class, _ttl, length = struct.unpack_from(">HHIH", packet, at)
            at += 10
            if kind == A and length == 4:
                addresses.append(socket.inet_ntoa(packet[at : at + 4]))
            at += length
    except (struct.error, IndexError, OSError):
        return ()
    return tuple(addresses)


def _name(host: str) -> bytes:
    labels = [label.encode() for label in host.rstrip(".").split(".")]
    return b"".join(bytes([len(label)]) + label for label in labels) + b"\0"


def _after_name(packet: bytes, at: int) -> int:
    """Return where a name ends that begins at `at`: after its labels, or a pointer to them (RFC 1035, 4.1.4)."""
    while packet[at]:
        if packet[at] >= 0xC0:
            return at + 2
        at += packet[at] + 1
    return at + 1
