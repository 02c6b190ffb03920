"""Whether the service stands, and whether it does its work; open to anybody, tells nothing of pours. Its figures."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import PlainTextResponse, Response

from logger.store.database import latest_revision
from logger.words.reader import METRIC
from logger.words.render import say
from web.answers import ERRORS, Ready, ServiceHealth
from web.security.access import OperatorDep, ServiceDep
from web.service import pipeline
from web.service.metrics import CONTENT_TYPE, exposed

router = APIRouter(tags=["health"], responses=ERRORS)


@router.get("/api/health")
def health(service: ServiceDep) -> ServiceHealth:
    """Answer once the database answers: restart what does not."""
    with service.store.read() as connection:
        connection.exec_driver_sql("SELECT 1")
    return ServiceHealth(status="ok", schema_version=latest_revision(), clock_set=service.timeline.clock_set)


@router.get("/api/ready", responses={503: {"model": Ready, "description": "Not ready: what is missing"}})
def ready(service: ServiceDep, response: Response) -> Ready:
    """Whether batches are stored, judged and told: 200, or 503 with what is missing, a sentence each."""
    missing, now_ms = pipeline.missing(service), service.timeline.now_ms()
    if missing:
        response.status_code = 503
    parts = {
        str(part): None if at_ms is None else round((now_ms - at_ms) / 1000, 1)
        for part, at_ms in pipeline.last_done(service).items()
    }
    return Ready(
        status="not-ready" if missing else "ready",
        missing=[say(text, METRIC) for text in missing],
        decides=service.decides.mine,
        seconds_ago=parts,
    )


@router.get("/metrics", include_in_schema=False)
def metrics(service: ServiceDep, _who: OperatorDep) -> Response:
    """Figures in the Prometheus text format."""
    return PlainTextResponse(exposed(service), media_type=CONTENT_TYPE)
