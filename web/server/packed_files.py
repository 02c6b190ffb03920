"""Static files, with those that are text sent compressed: each is compressed once and kept."""

from __future__ import annotations

import gzip
from functools import lru_cache
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.responses import FileResponse, Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

#: What becomes a third of its size; pictures and fonts are compressed already.
TEXT = (".css", ".js", ".svg", ".txt")


@lru_cache(maxsize=64)
def packed(path: Path, _size: int, _modified_ns: int) -> bytes:
    """Return a file compressed (gzip, RFC 1952); again when its size or its time of change is another."""
    return gzip.compress(path.read_bytes(), 9)


def pack(path: Path) -> bytes:
    """Return a file compressed, from memory where it has been asked for before."""
    state = path.stat()
    return packed(path, state.st_size, state.st_mtime_ns)


class PackedFiles(StaticFiles):
    """The static files, as whoever asks can take them."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """Return the file, compressed where it is text and the browser takes gzip."""
        answer = await super().get_response(path, scope)
        if not isinstance(answer, FileResponse) or not str(answer.path).endswith(TEXT):
            return answer
        answer.headers["vary"] = "Accept-Encoding"
        asked = dict(scope["headers"])
        if b"gzip" not in asked.get(b"accept-encoding", b"") or b"range" in asked or scope["method"] != "GET":
            return answer
        body = await run_in_threadpool(pack, Path(answer.path))
        # No ETag: the file's own stands for its plain bytes (RFC 9110, 8.8.3).
        headers = {"Content-Encoding": "gzip", "Vary": "Accept-Encoding"}
        headers["Last-Modified"] = answer.headers["last-modified"]
        return Response(body, media_type=answer.media_type, headers=headers)
