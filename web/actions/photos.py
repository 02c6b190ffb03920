"""Photos kept with a pour: the file by the hash of its bytes, the event in the pour's chain."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fastapi import Request
from starlette.datastructures import UploadFile

from logger.errors import BadInput, StoreError
from logger.facts import Fact
from logger.pour import Stage
from logger.quantities import quantity
from logger.store import pours
from logger.store.photos import FOLDER, path_of, put
from logger.words.phrase import phrase
from web.actions import pours as pour_actions
from web.service.service import Service
from web.views.photo_sanitize import redrawn

#: Largest photo, bytes.
LARGEST = 14 * 1024 * 1024
#: Photos that one form may bring.
MOST = 6
#: The one kind that is kept, whatever was sent: a picture drawn anew carries no script, no place and no camera's name.
ENDING, TYPE = "jpg", "image/jpeg"


@dataclass(frozen=True, slots=True)
class Caption:
    """What is said of a photo: words, the readiness point that it is the evidence of, why it is added to a seal."""

    text: str = ""
    point: str = ""
    reason: str = ""


def keep_photo(service: Service, pour_id: int, raw: bytes, by: str, caption: Caption) -> str:
    """Keep a photo, drawn anew, and note it with the pour; with a sealed record as an addition with its reason.

    Gives its SHA-256. Raises BadInput, NotFound, and StoreError when the disk refuses.
    """
    _check_photo(raw)
    with service.store.read() as connection:
        closed = pours.get_pour(connection, pour_id).stage == Stage.CLOSED
    if closed and not caption.reason.strip():
        raise BadInput(
            phrase("reason"),
            phrase("is empty"),
            remedy=phrase("this record is sealed: say why you add to it now"),
        )
    about = _put_on_disk(service, raw)
    _add(service, pour_id, by, about, caption)
    return str(about["sha256"])


def keep_photo_of_points(service: Service, pour_id: int, raw: bytes, by: str, points: Sequence[str]) -> None:
    """Keep one photo as the evidence of several points. Raises as `keep_photo`."""
    _check_photo(raw)
    about = _put_on_disk(service, raw)
    for point in points:
        _add(service, pour_id, by, about, Caption(point, point))


def _add(service: Service, pour_id: int, by: str, about: dict[str, Any], caption: Caption) -> None:
    about = about | ({"point": caption.point} if caption.point else {})
    pour_actions.add_entry(
        service, pour_id, by, pour_actions.Entry(caption.text, "photo", about, caption.reason)
    )


def _put_on_disk(service: Service, raw: bytes) -> dict[str, Any]:
    """Keep a photo's file, drawn anew; return what its event says of it."""
    drawn = redrawn(raw)
    name = hashlib.sha256(drawn).hexdigest()
    # Also when there is one of that name: it may have been damaged since.
    try:
        put(drawn, folder(service), f"{name}.{ENDING}")
    except OSError as error:
        raise StoreError(
            phrase(
                "the photo could not be kept ({strerror}): make room on the disk, then send it again",
                strerror=str(error.strerror),
            )
        ) from error
    return {"sha256": name, "bytes": len(drawn), "type": TYPE}


def check_size(raw: bytes, what: Fact, largest: int, choose: Fact, smaller: Fact) -> None:
    """Refuse an empty file, and one of more than `largest` bytes. choose, smaller: what to do then. Raises BadInput."""
    if not raw:
        raise BadInput(what, phrase("is empty"), remedy=choose)
    if len(raw) > largest:
        raise BadInput(
            what,
            phrase("is too large"),
            value=quantity(len(raw) / 1e6, "MB", 1),
            allowed=quantity(largest / 1e6, "MB", 0),
            remedy=smaller,
        )


def _check_photo(raw: bytes) -> None:
    check_size(
        raw,
        phrase("photo"),
        LARGEST,
        phrase("choose a photo first"),
        phrase("take it with a smaller picture size"),
    )


async def photo_of(request: Request) -> tuple[dict[str, str], bytes]:
    """(text fields, bytes of the field "photo") of a form."""
    given, photos = await photos_of(request, most=1)
    return given, photos[0] if photos else b""


async def photos_of(request: Request, most: int = MOST) -> tuple[dict[str, str], list[bytes]]:
    """(text fields, bytes of each file chosen in the field "photo") of a form; `most` files are taken."""
    async with request.form(max_files=most, max_fields=20) as form:
        given = {name: value for name, value in form.items() if isinstance(value, str)}
        uploads = [one for one in form.getlist("photo") if isinstance(one, UploadFile)]
        photos = [raw for one in uploads if (raw := await one.read(LARGEST + 1))]
    return given, photos


def photo_bytes(service: Service, about: Mapping[str, Any]) -> bytes | None:
    """Return the picture of a photo's event data; None where its file is gone."""
    path = path_of(folder(service), about.get("sha256"))
    return None if path is None else path.read_bytes()


def folder(service: Service) -> Path:
    return Path(service.settings.data_dir) / FOLDER
