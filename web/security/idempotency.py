"""A request that is sent again because its answer was lost is carried out once.

By the header `Idempotency-Key` (draft-ietf-httpapi-idempotency-key-header, version 06 of February 2025): a string that
the client makes up for each thing it wants done. It is kept with the event that the request leaves, in the same
transaction and unique within a shop, for as long as the event. Sent again with the same contents, the first answer is
given; with others it is refused (422), and so it is while the first is still being carried out (409).
"""

from __future__ import annotations

import asyncio
import hashlib
import re
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from typing import Annotated

from fastapi import Depends, Header, Request
from starlette.concurrency import run_in_threadpool

from logger.errors import BadInput, BeingDone
from logger.store import events
from logger.store.database import SEES
from logger.store.rows import EventRow
from logger.words.phrase import phrase
from web.security.access import ServiceDep
from web.service.service import Service

HEADER = "Idempotency-Key"
#: A string of RFC 9651, 3.3.3, without the characters that are escaped in it.
_STRING = re.compile(r'"([ !#-\[\]-~]{1,255})"')
Done = EventRow | None


@asynccontextmanager
async def once(service: Service, key: str, sha256: str, *, wait: bool = False) -> AsyncIterator[Done]:
    """Yield the event that a request with this key has left already, or None: then what is done now keeps the key.

    `wait`: for the same request that is being carried out. Raises BeingDone without, and BadInput when the key was
    used for something else.
    """
    mine, ready = (SEES.get(), key), asyncio.Event()
    while (other := service.in_hand.get(mine)) is not None:
        if not wait:
            raise BeingDone(
                phrase("the same request is being carried out: wait, and send it again for its answer")
            )
        await other.wait()
    service.in_hand[mine] = ready
    try:
        done = await run_in_threadpool(_event_of, service, key)
        if done is not None and done.request_sha256 != sha256:
            raise BadInput(
                HEADER, phrase("was used for another request"), value=key, remedy=phrase("make up a new one")
            )
        events.REQUEST.set(None if done is not None else events.Request(key, sha256))
        yield done
    finally:
        events.REQUEST.set(None)
        del service.in_hand[mine]
        ready.set()


async def asked_once(
    request: Request,
    service: ServiceDep,
    key: Annotated[str | None, Header(alias=HEADER, max_length=300)] = None,
) -> AsyncIterator[Done]:
    """Yield the same of a program's request; None without the header."""
    if key is None:
        yield None
        return
    match = _STRING.fullmatch(key.strip())
    if match is None:
        raise BadInput(
            HEADER,
            phrase("is not a string in quotation marks"),
            value=key,
            allowed=phrase('1 to 255 characters in "…", without quotation marks and backslashes'),
            remedy=phrase("make up a UUID"),
        )
    asked = {"request": f"{request.method} {request.url.path}"}
    if request.headers.get("content-type", "").startswith("application/x-www-form-urlencoded"):
        # An endpoint's form has been read by now; it can be asked for again, its bytes cannot.
        form = await request.form()
        sha256 = digest(asked | {name: value for name, value in form.items() if isinstance(value, str)})
    else:
        sha256 = digest(asked, await request.body())
    async with once(service, match[1], sha256) as done:
        yield done


def digest(fields: Mapping[str, str], raw: bytes = b"") -> str:
    """Return the hash of what was asked, hex."""
    hasher = hashlib.sha256()
    for name, value in sorted(fields.items()):
        hasher.update(f"{name}\0{value}\0".encode())
    hasher.update(raw)
    return hasher.hexdigest()


def _event_of(service: Service, key: str) -> Done:
    with service.store.read() as connection:
        return events.of_request(connection, key)


#: What an endpoint that may be asked again takes: the event that it has left already, or None.
OnceDep = Annotated[Done, Depends(asked_once)]
