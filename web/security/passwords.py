"""Passwords: how they are kept, how many are checked at once, and which are too common to take."""

from __future__ import annotations

import hashlib
import re
import threading
from functools import cache
from importlib.resources import files

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError

from logger.errors import BadInput
from logger.words.phrase import phrase
from web.errors import TooMany

#: Shortest and longest password: ASVS 5.0, 6.2.1 (at least 8) and 6.2.9 (at least 64 are taken).
SHORTEST, LONGEST = 8, 200
#: How many are hashed at once, 19 MiB each, and how many more may wait for their turn: a crowd of logins takes
#: neither the memory of a 1 GB machine nor all threads that answer requests.
AT_ONCE, MAY_WAIT = 2, 18
_turns = threading.BoundedSemaphore(AT_ONCE)
_places = threading.BoundedSemaphore(AT_ONCE + MAY_WAIT)
#: What everybody in this trade would try first.
_TRADE = (
    "epoxy",
    "resin",
    "hardener",
    "pour",
    "pours",
    "pouring",
    "pourlog",
    "river",
    "table",
    "slab",
    "slabs",
    "wood",
    "workshop",
    "maker",
    "walnut",
    "oak",
    "maple",
    "cherry",
    "probe",
    "station",
    "bench",
    "mould",
    "mold",
)


@cache
def _hasher() -> PasswordHasher:
    """Argon2id, 19 MiB, t = 2, p = 1: OWASP's minimum and ASVS 5.0 appendix C, fit for a machine of 1 GB."""
    return PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)


@cache
def nobodys_hash() -> str:
    """Return the hash that an unknown name is checked against, so that it takes as long as a wrong password."""
    return hash_of("nobody has this password")


def hash_of(password: str) -> str:
    """Return what is kept of a password or a short code. Raises TooMany when too many wait already."""
    with _Turn():
        return _hasher().hash(password)


def right(hashed: str, password: str) -> bool:
    """Whether a password belongs to what was kept. Raises TooMany when too many wait already."""
    with _Turn():
        try:
            return _hasher().verify(hashed, password)
        except (VerifyMismatchError, InvalidHashError):
            return False


class _Turn:
    def __enter__(self) -> None:
        if not _places.acquire(blocking=False):
            raise TooMany(phrase("too many people are signing in at this moment; try again in a few seconds"))
        _turns.acquire()

    def __exit__(self, *_error: object) -> None:
        _turns.release()
        _places.release()


def check_new(password: str, *names: str) -> None:
    """Refuse a new password that is too short, too long, common, or made of words that everybody here knows.

    `known`: the person's name, the workshop's name. No rule asks for digits or signs (ASVS 5.0, 6.2.5).
    Raises BadInput.
    """
    if not SHORTEST <= len(password) <= LONGEST:
        problem = phrase("is too short") if len(password) < SHORTEST else phrase("is too long")
        raise BadInput(
            phrase("password"),
            problem,
            value=phrase("{n} characters", n=len(password)),
            allowed=phrase("{shortest} to {longest}", shortest=SHORTEST, longest=LONGEST),
            remedy=phrase("use a few words"),
        )
    if is_common(password, *names):
        raise BadInput(
            phrase("password"),
            phrase("is too common"),
            remedy=phrase("use a few words that do not belong together"),
        )


def is_common(password: str, *names: str) -> bool:
    """Whether a password is a common one: a known word, dressed with digits, capitals and look-alike signs.

    One word or two from the list, a run of keys, a date or a repetition, with up to six digits or signs around it.
    """
    lower = password.lower()
    own = {word for name in names for word in re.findall(r"[^\W\d_]{3,}", name.lower())}
    return any(_common(dressed, own) for dressed in {lower, _undressed(lower)})


def _common(text: str, own: set[str]) -> bool:
    bare = re.sub(r"^[\W\d_]{0,6}|[\W\d_]{0,6}$", "", text)
    letters = re.sub(r"[\W\d_]", "", text)
    if len(set(text)) <= 3 or _repeats(text) or _is_run(text) or len(letters) <= 2:
        return True

    def listed(word: str) -> bool:
        return word in own or digest(word) in _digests()

    return listed(text) or any(
        listed(core)
        or _repeats(core)
        or _is_run(core)
        or any(listed(core[:cut]) and listed(core[cut:]) for cut in range(3, len(core) - 2))
        for core in {bare, letters}
        if len(letters) >= len(text) - 6
    )


def digest(word: str) -> bytes:
    """Return what is kept of a common word: five bytes, so that one in some 10^8 others is refused by mistake."""
    return hashlib.blake2b(word.encode(), digest_size=5).digest()


@cache
def _digests() -> frozenset[bytes]:
    # Made by tests/bench/make_common_passwords.py, which names the source.
    packed = files("web.security").joinpath("common_passwords.bin").read_bytes()
    return frozenset(packed[at : at + 5] for at in range(0, len(packed), 5)) | {
        digest(word) for word in _TRADE
    }


_LOOK_ALIKE = str.maketrans("013457@$!+|", "oieastasiti")
_ROWS = (
    "qwertyuiop",
    "asdfghjkl",
    "zxcvbnm",
    "qwertzuiop",
    "azertyuiop",
    "abcdefghijklmnopqrstuvwxyz",
    "01234567890",
    "qazwsxedcrfvtgbyhnujmikolp",
    "1qaz2wsx3edc4rfv5tgb6yhn",
    "1q2w3e4r5t6y7u8i9o0p",
    "q1w2e3r4t5y6u7i8o9p0",
    "147258369",
    "741852963",
    "789456123",
)
_ALL_ROWS = "|".join((*_ROWS, *(row[::-1] for row in _ROWS)))


def _undressed(text: str) -> str:
    ending = re.sub(r"[\W\d_]+$", "", text)
    return ending.translate(_LOOK_ALIKE) + text[len(ending) :]


def _repeats(text: str) -> bool:
    return any(
        (text[:size] * (len(text) // size + 1)).startswith(text) for size in range(1, len(text) // 2 + 1)
    )


def _is_run(text: str) -> bool:
    # Cut greedily into pieces of three or more keys that lie beside each other: qwerty123, asdf1234, abc12345.
    at = 0
    while at < len(text):
        size = next((n for n in range(len(text) - at, 2, -1) if text[at : at + n] in _ALL_ROWS), 0)
        if size == 0:
            return False
        at += size
    return bool(text)
