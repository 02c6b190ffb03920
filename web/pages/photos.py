"""Photos from the phone, kept with the pour: the file by the hash of its bytes, the event in the pour's chain."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import FileResponse, RedirectResponse, Response

from logger.errors import BadInput, NotFound, StoreError
from logger.pour import Stage
from logger.record import happened
from logger.store import pours, shown
from logger.store.photos import FOLDER, KINDS, find, put
from web import desk
from web.access import MakerDep, ReaderDep, ServiceDep
from web.pages.redrawn import redrawn
from web.service import Service
from web.shapes import PHOTO_BODY, RowId

router = APIRouter(include_in_schema=False)
#: Largest photo, bytes.
LARGEST = 14 * 1024 * 1024
#: The one kind that is kept, whatever was sent: a picture drawn anew carries no script, no place and no camera's name.
ENDING, TYPE = "jpg", "image/jpeg"
_TYPES = {f".{ending}": kind for kind, ending in KINDS.items()}


def keep_photo(
    service: Service, pour_id: int, raw: bytes, by: str, text: str = "", point: str = "", reason: str = ""
) -> str:
    """Keeps a photo, drawn anew, and notes it with the pour; with a sealed record as an addition with its reason.

    Gives its SHA-256. Raises BadInput, NotFound, and StoreError when the disk refuses.
    """
    if not raw:
        raise BadInput("photo", "is empty", remedy="choose a photo first")
    if len(raw) > LARGEST:
        raise BadInput("photo", "is too large", value=f"{len(raw) / 1e6:.1f} MB", allowed=f"{LARGEST / 1e6:.0f} MB",
                       remedy="take it with a smaller picture size")  # fmt: skip
    with service.store.read() as connection:
        closed = pours.get_pour(connection, pour_id).stage == Stage.CLOSED
    if closed and not reason.strip():
        raise BadInput("reason", "is empty", remedy="this record is sealed: say why you add to it now")
    drawn = redrawn(raw)
    name = hashlib.sha256(drawn).hexdigest()
    # Also when there is one of that name: it may have been damaged since.
    try:
        put(drawn, _folder(service), f"{name}.{ENDING}")
    except OSError as error:
        raise StoreError(
            f"the photo could not be kept ({error.strerror}): make room on the disk, then send it again"
        ) from error
    about = {"sha256": name, "bytes": len(drawn), "type": TYPE} | ({"point": point} if point else {})
    desk.note(service, pour_id, text, by, "photo", about, reason)
    return name


async def photo_of(request: Request) -> tuple[dict[str, str], bytes]:
    """(text fields, bytes of the field "photo") of a form."""
    async with request.form(max_files=1, max_fields=20) as form:
        given = {name: value for name, value in form.items() if isinstance(value, str)}
        upload = form.get("photo")
        raw = await upload.read(LARGEST + 1) if isinstance(upload, UploadFile) else b""
    return given, raw


@router.post("/pours/{pour_id}/photos", max_body_size=PHOTO_BODY)
async def add_photo(pour_id: RowId, request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """Keeps a photo with the pour."""
    given, raw = await photo_of(request)
    text, reason = given.get("text", "").strip()[:4000], given.get("reason", "")
    await run_in_threadpool(keep_photo, service, pour_id, raw, who.name, text, "", reason)
    # Only a sealed record asks for a reason.
    where = f"/pours/{pour_id}/record#additions" if reason.strip() else f"/pours/{pour_id}#events"
    return RedirectResponse(where, 303)


@router.get("/pours/{pour_id}/photos/{name}")
def photo(pour_id: RowId, name: str, service: ServiceDep, _who: ReaderDep) -> Response:
    """One photo of a pour."""
    with service.store.read() as connection:
        rows = shown.events_of_kind(connection, pour_id, "photo", "addition")
    mine = [row.data or {} for row in rows if happened.subject(row.kind, row.data) == "photo"]
    if name not in [about.get("sha256") for about in mine]:
        raise NotFound(f"pour {pour_id} has no such photo")
    path = find(_folder(service), name)
    if path is None:
        raise NotFound(f"the file of photo {name[:12]} is gone from the disk; restore it from the backup")
    return FileResponse(
        path,
        media_type=_TYPES[path.suffix],
        filename=f"photo-{name[:12]}{path.suffix}",
        content_disposition_type="inline",
        headers={"Cache-Control": "private, max-age=31536000, immutable"},
    )


def photo_bytes(service: Service, about: Mapping[str, Any]) -> bytes | None:
    """The picture of a photo's event data; None where its file is gone."""
    path = find(_folder(service), about.get("sha256"))
    return None if path is None else path.read_bytes()


def _folder(service: Service) -> Path:
    return Path(service.settings.data_dir) / FOLDER
