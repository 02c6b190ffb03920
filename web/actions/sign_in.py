"""Checks names, passwords and codes, slowly enough that guessing does not pay, and lets people in."""

from __future__ import annotations

import hashlib
import logging
import secrets
from typing import Any

from fastapi import Request
from itsdangerous import BadSignature, URLSafeSerializer
from starlette.responses import RedirectResponse

from logger.errors import NotAllowed, NotFound
from logger.quantities import seconds
from logger.store import events, people
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.rows import PersonRow
from logger.words.phrase import phrase
from web.errors import TooMany
from web.security import access, passwords
from web.security.throttle import Bucket, address_key
from web.service.service import Service

log = logging.getLogger(__name__)
#: A browser that has signed in before: signed, so that nobody makes one up; it opens nothing by itself.
DEVICE_COOKIE = "pourlog_known"
#: People whom one browser is remembered by, and for how long, s.
MOST_OF_DEVICE, DEVICE_S = 8, 365 * 24 * 3600
#: Letters and digits that are not taken for each other (Crockford's base 32: no I, L, O, U): 40 bits in eight.
LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
WRONG = phrase("wrong name or password")


class Tries:
    """The tries of one attempt: taken before it is checked, given back when it was right."""

    def __init__(self, request: Request) -> None:
        self._now_s = request.app.state.seconds
        self._taken: list[tuple[Bucket, Any]] = []

    def take(self, bucket: Bucket, key: Any) -> None:
        """One try. Raises TooMany with the wait."""
        wait_s = bucket.take(key, self._now_s())
        if wait_s:
            self.give_back()
            raise TooMany(
                phrase(
                    "too many wrong tries; wait {wait} and try again", wait=seconds(max(1, round(wait_s)))
                ),
                wait_s,
            )
        self._taken.append((bucket, key))

    def judge(self, hashed: str, password: str) -> bool:
        """Whether a password is right. A crowd that leaves no time to look is nobody's wrong try. Raises TooMany."""
        try:
            return passwords.right(hashed, password)
        except TooMany:
            self.give_back()
            raise

    def give_back(self) -> None:
        """Count the attempt no more: it was right, or was not made."""
        for bucket, key in self._taken:
            bucket.give_back(key, self._now_s())
        self._taken.clear()


def check_password(request: Request, name: str, password: str) -> PersonRow:
    """Return the person, if the password is theirs. An unknown name takes as long as a wrong password.

    Raises NotAllowed, TooMany.
    """
    service, throttle = access.service_of(request), request.app.state.throttle
    try:
        with service.store.read() as connection:
            person = people.person_by_name(connection, name.strip())
        hashed = str(person.password_hash)
    except NotFound:
        person, hashed = None, passwords.nobodys_hash()
    device = _device(request, service)
    tries = Tries(request)
    if person is not None and person.id in device["people"]:
        tries.take(throttle.tries_of_known, device["browser"])
    else:
        tries.take(throttle.tries_of_address, address_key(request.scope))
        tries.take(throttle.tries_at_name, name.strip().casefold())
    fits = tries.judge(hashed, password)
    if person is None or not fits:
        # repr: a name with a line break must not write a line of its own into the log.
        log.warning("sign-in refused: name %r from %s", name, address_key(request.scope))
        raise NotAllowed(WRONG)
    tries.give_back()
    return person


def check_again(request: Request, who: access.Who, password: str) -> None:
    """Somebody who is signed in proves it once more. Raises NotAllowed, TooMany."""
    service, tries = access.service_of(request), Tries(request)
    tries.take(request.app.state.throttle.tries_of_known, ("person", who.id))
    with service.store.read() as connection:
        hashed = str(people.person(connection, who.id).password_hash)
    if not tries.judge(hashed, password):
        raise NotAllowed(phrase("that is not your current password"))
    tries.give_back()


def take_code(request: Request) -> Tries:
    """One try at a code, of this address and of everybody. Raises TooMany."""
    tries = Tries(request)
    tries.take(request.app.state.throttle.tries_of_address, address_key(request.scope))
    tries.take(request.app.state.throttle.codes, "code")
    return tries


def code_for(service: Service, name: str, role: people.Role, by: str) -> str:
    """Make a new one-time code that lets somebody choose a password at /join within a day: an owner's invitation."""
    return new_code(service.store, service.timeline, name, role, by)


def new_code(store: Store, timeline: Timeline, name: str, role: people.Role, by: str) -> str:
    """Make a one-time code, "number-XXXX-XXXX", kept by a slow hash, and that it was given among the events."""
    code = "".join(secrets.choice(LETTERS) for _ in range(8))
    hashed = passwords.hash_of(code)
    now_ms = timeline.now_ms()
    with store.write() as tx:
        number = people.invite(tx, name, role, hashed, by, now_ms)
        events.add_event(tx, None, now_ms, "asked-in", by, f"{name}, {role}")
    return f"{number}-{code[:4]}-{code[4:]}"


def let_in(request: Request, person_id: int, then: str) -> RedirectResponse:
    """Begin a new sign-in, and go on to a page. A sign-in that this browser had ends: no token outlives its
    replacement.
    """
    service = access.service_of(request)
    now_ms = service.timeline.now_ms()
    before = access.who_is(request)
    with service.store.write() as tx:
        if before is not None:
            people.end_sign_in(tx, before.sign_in_id, now_ms)
        token = people.start_sign_in(tx, person_id, now_ms, request.headers.get("user-agent", ""))
    answer = RedirectResponse(then, 303)
    answer.set_cookie(
        access.cookie_name(request),
        token,
        max_age=people.SIGN_IN_MS // 1000,
        httponly=True,
        samesite="strict",
        secure=access.secure(request),
    )
    device = _device(request, service)
    device["people"] = [person_id, *(other for other in device["people"] if other != person_id)][
        :MOST_OF_DEVICE
    ]
    answer.set_cookie(
        DEVICE_COOKIE,
        _signer(service).dumps(device),
        max_age=DEVICE_S,
        httponly=True,
        samesite="strict",
        secure=access.secure(request),
    )
    return answer


def _device(request: Request, service: Service) -> dict[str, Any]:
    try:
        device: dict[str, Any] = _signer(service).loads(request.cookies.get(DEVICE_COOKIE, ""))
    except BadSignature:
        return {"browser": secrets.token_hex(8), "people": []}
    return device


def _signer(service: Service) -> URLSafeSerializer:
    with service.store.read() as connection:
        key = people.get_secret(connection, "known-browsers")
    if key is None:
        with service.store.write() as tx:
            key = people.secret(tx, "known-browsers", service.timeline.now_ms())
    return URLSafeSerializer(key, "known-browsers", signer_kwargs={"digest_method": hashlib.sha256})
