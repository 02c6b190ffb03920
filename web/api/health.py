"""Whether the service stands, and whether it does its work; open to anybody, tells nothing of pours. Its figures."""

from __future__ import annotations

from fastapi import APIRouter
from sqlalchemy.exc import DBAPIError
from starlette.responses import PlainTextResponse, Response

from logger.store import lease
from logger.store.database import latest_revision
from web.access import OperatorDep, ServiceDep
from web.metrics import CONTENT_TYPE, exposed
from web.service import Service
from web.shapes import ERRORS, Health, Ready

router = APIRouter(tags=["health"], responses=ERRORS)
#: The watch stands while it has judged every live pour as recently, ms; a round over a thousand pours takes some s.
JUDGED_MS = 60_000


@router.get("/api/health")
def health(service: ServiceDep) -> Health:
    """Answers once the database answers: restart what does not."""
    with service.store.read() as connection:
        connection.exec_driver_sql("SELECT 1")
    return Health(status="ok", schema_version=latest_revision(), clock_set=service.timeline.clock_set)


@router.get("/api/ready", responses={503: {"model": Ready, "description": "Not ready: what is missing"}})
def ready(service: ServiceDep, response: Response) -> Ready:
    """Whether it takes batches and somebody judges them: 200, or 503 with what is missing, a sentence each."""
    missing = _missing(service)
    if missing:
        response.status_code = 503
    return Ready(status="not-ready" if missing else "ready", missing=missing, decides=service.decides.mine)


@router.get("/metrics", include_in_schema=False)
def metrics(service: ServiceDep, _who: OperatorDep) -> Response:
    """Figures in the Prometheus text format."""
    return PlainTextResponse(exposed(service), media_type=CONTENT_TYPE)


def _missing(service: Service) -> list[str]:
    missing = []
    try:
        with service.store.read() as connection:
            held = lease.holding(connection)
            if service.watch_trouble is not None:
                missing.append("the watch is in trouble; its pages and its log say which")
    except DBAPIError:
        return ["the database does not answer"]
    if service.store.refused:
        missing.append("the database refuses to be written")
    judged_ms = service.watch.judged_ms if service.decides.mine or held is None else held.judged_ms
    if judged_ms is None or service.timeline.now_ms() - judged_ms > JUDGED_MS:
        missing.append("no live pour was judged for a minute")
    return missing
