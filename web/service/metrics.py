"""Figures for operators in the Prometheus text format (version 0.0.4): how much comes in, how quickly, what waits.

Counters belong to this process; what is read from the database is the same in all of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from logger.store.database import latest_revision
from logger.store.operating import operating
from logger.store.stations import SILENT_MS
from logger.version import own_version
from web.service.counters import BUCKETS_S
from web.service.service import Service

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"


Sample = tuple[str, Mapping[str, str], float]


def family(name: str, kind: str, told: str, samples: Iterable[Sample]) -> str:
    """One metric with its samples (name's ending, labels, value), as the format wants them."""
    escaped = told.replace("\\", r"\\").replace("\n", r"\n")
    lines = [f"# HELP {name} {escaped}", f"# TYPE {name} {kind}"]
    for ending, labels, value in samples:
        inside = ",".join(f'{label}="{_escaped(text)}"' for label, text in labels.items())
        shown = repr(float(value)) if value != int(value) else str(int(value))
        lines.append(f"{name}{ending}{{{inside}}} {shown}" if inside else f"{name}{ending} {shown}")
    return "\n".join(lines) + "\n"


def _escaped(text: str) -> str:
    return text.replace("\\", r"\\").replace('"', r"\"").replace("\n", r"\n")


def exposed(service: Service) -> str:
    """Everything, as one text."""
    timeline, counted = service.timeline, service.counted
    now_ms = timeline.now_ms()
    with service.store.read() as connection:
        stands = operating(connection, timeline.true_ms() - SILENT_MS)
    judged_ms = service.watch.judged_ms if service.decides.mine else stands.judged_ms
    waits_s = 0.0 if stands.oldest_waiting_ms is None else (now_ms - stands.oldest_waiting_ms) / 1000
    within, upto = [], 0
    for most, count in zip((*BUCKETS_S, None), counted.within, strict=True):
        upto += count
        within.append(("_bucket", {"le": "+Inf" if most is None else repr(most)}, upto))

    def one(value: float) -> list[Sample]:
        return [("", {}, value)]

    built = {
        "version": own_version(),
        "schema": latest_revision(),
        "database": "sqlite" if service.store.is_sqlite else "postgresql",
    }
    families = [
        family("pourlog_build_info", "gauge", "What runs here.", [("", built, 1)]),
        family(
            "pourlog_batches_total",
            "counter",
            "Batches answered by this process.",
            [("", {"outcome": name}, count) for name, count in counted.batches.items()],
        ),
        family(
            "pourlog_readings_stored_total",
            "counter",
            "Readings stored by this process.",
            one(counted.stored),
        ),
        family(
            "pourlog_readings_repeated_total",
            "counter",
            "Readings that were stored already.",
            one(counted.repeated),
        ),
        family(
            "pourlog_batch_seconds",
            "histogram",
            "From a whole batch to its answer.",
            [*within, ("_sum", {}, counted.seconds), ("_count", {}, counted.batches["stored"])],
        ),
        family("pourlog_stations", "gauge", "Stations that may send.", one(stands.stations)),
        family(
            "pourlog_stations_silent",
            "gauge",
            "Stations that were not heard for a while.",
            one(stands.silent),
        ),
        family("pourlog_pours_live", "gauge", "Pours that are watched.", one(stands.live_pours)),
        family(
            "pourlog_alarms_raised",
            "gauge",
            "Alarms that nobody has acknowledged.",
            [("", {"priority": name}, count) for name, count in stands.raised.items()],
        ),
        family(
            "pourlog_messages_waiting", "gauge", "Messages that have not got through.", one(stands.waiting)
        ),
        family(
            "pourlog_message_waiting_seconds",
            "gauge",
            "How long the oldest has waited in vain.",
            one(waits_s),
        ),
        family(
            "pourlog_decides", "gauge", "Whether this process decides alarms.", one(int(service.decides.mine))
        ),
        family(
            "pourlog_watch_troubled",
            "gauge",
            "Whether something keeps the watch from judging.",
            one(int(service.watch_trouble is not None)),
        ),
        family("pourlog_pages_open", "gauge", "Live pages of this process.", one(service.news.listeners)),
    ]
    if judged_ms is not None:
        ago_s = max(0.0, (now_ms - judged_ms) / 1000)
        families.append(
            family(
                "pourlog_watch_judged_seconds_ago", "gauge", "Since every live pour was judged.", one(ago_s)
            )
        )
    return "".join(families)
