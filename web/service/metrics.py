"""Figures for operators in the Prometheus text format (version 0.0.4): how much comes in, how quickly, what waits.

Counters belong to this process; what is read from the database is the same in all of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from logger.store.database import latest_revision
from logger.store.operating import OperatingState, operating
from logger.store.stations import SILENT_MS
from logger.version import own_version
from web.service.counters import BUCKETS_S
from web.service.service import Service

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"


Sample = tuple[str, Mapping[str, str], float]


def family(name: str, kind: str, help_text: str, samples: Iterable[Sample]) -> str:
    """One metric with its samples (name's ending, labels, value), as the format wants them."""
    escaped = help_text.replace("\\", r"\\").replace("\n", r"\n")
    lines = [f"# HELP {name} {escaped}", f"# TYPE {name} {kind}"]
    for ending, labels, value in samples:
        inside = ",".join(f'{label}="{_escaped(text)}"' for label, text in labels.items())
        shown = repr(float(value)) if value != int(value) else str(int(value))
        lines.append(f"{name}{ending}{{{inside}}} {shown}" if inside else f"{name}{ending} {shown}")
    return "\n".join(lines) + "\n"


def _escaped(text: str) -> str:
    return text.replace("\\", r"\\").replace('"', r"\"").replace("\n", r"\n")


def exposed(service: Service) -> str:
    """Return everything, as one text."""
    with service.store.read() as connection:
        stands = operating(connection, service.timeline.true_ms() - SILENT_MS)
    now_ms = service.timeline.now_ms()
    return "".join(
        (*_of_process(service), *_of_database(stands, now_ms), *_of_watch(service, stands, now_ms))
    )


def _one(value: float) -> list[Sample]:
    return [("", {}, value)]


def _of_process(service: Service) -> list[str]:
    """Return what runs here, and what it has taken in since its start."""
    counted = service.counted
    within, upto = list[Sample](), 0
    for most, count in zip((*BUCKETS_S, None), counted.within, strict=True):
        upto += count
        within.append(("_bucket", {"le": "+Inf" if most is None else repr(most)}, upto))
    built = {
        "version": own_version(),
        "schema": latest_revision(),
        "database": "sqlite" if service.store.is_sqlite else "postgresql",
    }
    batches: list[Sample] = [("", {"outcome": name}, count) for name, count in counted.batches.items()]
    seconds: list[Sample] = [
        *within,
        ("_sum", {}, counted.seconds),
        ("_count", {}, counted.batches["stored"]),
    ]
    stored, repeated = _one(counted.stored), _one(counted.repeated)
    return [
        family("pourlog_build_info", "gauge", "What runs here.", [("", built, 1)]),
        family("pourlog_batches_total", "counter", "Batches answered by this process.", batches),
        family("pourlog_readings_stored_total", "counter", "Readings stored by this process.", stored),
        family("pourlog_readings_repeated_total", "counter", "Readings that were stored already.", repeated),
        family("pourlog_batch_seconds", "histogram", "From a whole batch to its answer.", seconds),
    ]


def _of_database(stands: OperatingState, now_ms: int) -> list[str]:
    """Return what is the same in every process: stations, pours, alarms, messages."""
    waits_s = 0.0 if stands.oldest_waiting_ms is None else (now_ms - stands.oldest_waiting_ms) / 1000
    raised: list[Sample] = [("", {"priority": name}, count) for name, count in stands.raised.items()]
    gauges = (
        ("stations", "Stations that may send.", _one(stands.stations)),
        ("stations_silent", "Stations that were not heard for a while.", _one(stands.silent)),
        ("pours_live", "Pours that are watched.", _one(stands.live_pours)),
        ("alarms_raised", "Alarms that nobody has acknowledged.", raised),
        ("messages_waiting", "Messages that have not got through.", _one(stands.waiting)),
        ("message_waiting_seconds", "How long the oldest has waited in vain.", _one(waits_s)),
    )
    return [family(f"pourlog_{name}", "gauge", words, samples) for name, words, samples in gauges]


def _of_watch(service: Service, stands: OperatingState, now_ms: int) -> list[str]:
    """Return whether alarms are decided here, and when every live pour was last judged."""
    judged_ms = service.watch.judged_ms if service.decides.mine else stands.judged_ms
    troubled = service.watch_trouble is not None
    gauges = [
        ("decides", "Whether this process decides alarms.", float(service.decides.mine)),
        ("watch_troubled", "Whether something keeps the watch from judging.", float(troubled)),
        ("pages_open", "Live pages of this process.", float(service.news.listeners)),
    ]
    if judged_ms is not None:
        ago_s = max(0.0, (now_ms - judged_ms) / 1000)
        gauges.append(("watch_judged_seconds_ago", "Since every live pour was judged.", ago_s))
    return [family(f"pourlog_{name}", "gauge", words, _one(value)) for name, words, value in gauges]
