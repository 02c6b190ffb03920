"""Photos from the phone, kept with the pour: the file by the hash of its bytes, the event in the pour's chain."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import FileResponse, RedirectResponse, Response

from logger.errors import NotFound
from logger.record import event_views
from logger.store import page_queries
from logger.store.photos import KINDS, path_of
from logger.words.phrase import phrase
from web.actions.photos import Caption, folder, keep_photo, photo_of
from web.schemas import PHOTO_BODY, RowId
from web.security.access import MakerDep, ReaderDep, ServiceDep

router = APIRouter(include_in_schema=False)
_TYPES = {f".{ending}": kind for kind, ending in KINDS.items()}


@router.post("/pours/{pour_id}/photos", max_body_size=PHOTO_BODY)
async def add_photo(pour_id: RowId, request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """Keep a photo with the pour."""
    given, raw = await photo_of(request)
    text, reason = given.get("text", "").strip()[:4000], given.get("reason", "")
    await run_in_threadpool(keep_photo, service, pour_id, raw, who.name, Caption(text, reason=reason))
    # Only a sealed record asks for a reason.
    where = f"/pours/{pour_id}/record#additions" if reason.strip() else f"/pours/{pour_id}#events"
    return RedirectResponse(where, 303)


@router.get("/pours/{pour_id}/photos/{name}")
def photo(pour_id: RowId, name: str, service: ServiceDep, _who: ReaderDep) -> Response:
    """One photo of a pour."""
    with service.store.read() as connection:
        rows = page_queries.events_of_kind(connection, pour_id, "photo", "addition")
    mine = [row.data or {} for row in rows if event_views.subject(row.kind, row.data) == "photo"]
    if name not in [about.get("sha256") for about in mine]:
        raise NotFound(phrase("pour {pour_id} has no such photo", pour_id=pour_id))
    path = path_of(folder(service), name)
    if path is None:
        raise NotFound(
            phrase(
                "the file of photo {name} is gone from the disk; restore it from the backup", name=name[:12]
            )
        )
    return FileResponse(
        path,
        media_type=_TYPES[path.suffix],
        filename=f"photo-{name[:12]}{path.suffix}",
        content_disposition_type="inline",
        headers={"Cache-Control": "private, max-age=31536000, immutable"},
    )
