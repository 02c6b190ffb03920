"""Log lines as JSON objects, one a line, for programs that gather the logs of many machines."""

from __future__ import annotations

import json
import logging
from datetime import UTC, datetime

from logger.words.log_lines import in_english


class AsJson(logging.Formatter):
    """One line: when (RFC 3339, UTC), how grave, who, what; and the trace of an error."""

    def format(self, record: logging.LogRecord) -> str:
        """One record."""
        line = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": in_english(record.getMessage()),
            "process": record.process,
            "thread": record.threadName,
        }
        if record.exc_info:
            line["trace"] = in_english(self.formatException(record.exc_info))
        return json.dumps(line, ensure_ascii=False)


def use_json() -> None:
    """Every handler of the root logger writes JSON from now on."""
    for handler in logging.getLogger().handlers:
        handler.setFormatter(AsJson())
