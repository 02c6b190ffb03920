"""The files that browsers keep: compressed, kept for good by their contents' hash, with their licences."""

from __future__ import annotations

import gzip
import re
from typing import Any

from web.commands.sbom import bill
from web.views.render import CHARTS, STATIC, asset


def test_the_chart_library_comes_compressed_and_is_kept_for_good(maker: Any) -> None:
    """A third of a megabyte once, instead of on every page."""
    answer = maker.get(asset(CHARTS), headers={"accept-encoding": "gzip"})
    assert answer.headers["content-encoding"] == "gzip"
    assert "immutable" in answer.headers["cache-control"]
    assert answer.headers["vary"] == "Accept-Encoding"
    assert int(answer.headers["content-length"]) < 450_000
    assert answer.content == (STATIC / CHARTS).read_bytes()


def test_whoever_takes_no_gzip_gets_the_plain_file(maker: Any) -> None:
    """The same contents either way; a picture is not compressed again."""
    plain = maker.get(asset("look.css"), headers={"accept-encoding": "identity"})
    packed = maker.get(asset("look.css"), headers={"accept-encoding": "gzip"})
    assert "content-encoding" not in plain.headers
    assert plain.content == packed.content == (STATIC / "look.css").read_bytes()
    assert (
        "content-encoding"
        not in maker.get(asset("icon-192.png"), headers={"accept-encoding": "gzip"}).headers
    )


def test_a_changed_file_is_compressed_anew(tmp_path: Any) -> None:
    """An update of the program while browsers ask."""
    from web.server.packed_files import pack

    file = tmp_path / "a.js"
    file.write_text("one")
    assert gzip.decompress(pack(file)) == b"one"
    file.write_text("three")
    assert gzip.decompress(pack(file)) == b"three"


def test_what_comes_with_the_program_is_listed_with_its_licence() -> None:
    """The list names the version that lies there, and the licence's text lies beside it."""
    version = re.search(r"plotly\.js \(basic - minified\) v([\d.]+)", (STATIC / CHARTS).read_text("utf-8"))
    assert version is not None
    (listed,) = [part for part in bill()["components"] if part["name"] == "plotly.js-basic-dist-min"]
    assert listed["version"] == version[1]
    assert listed["licenses"] == [{"license": {"id": "MIT"}}]
    assert "Permission is hereby granted" in (STATIC / "vendor/plotly-basic.LICENSE.txt").read_text("utf-8")


def test_pages_come_compressed_and_small_answers_as_they_are(maker: Any) -> None:
    """A phone on a weak wifi waits for bytes; compressing a few of them would be work for nothing."""
    page = maker.get("/help/plan-file", headers={"accept-encoding": "gzip"})
    assert page.headers["content-encoding"] == "gzip"
    assert int(page.headers["content-length"]) < 0.4 * len(page.content)
    assert page.headers["cache-control"] == "no-store"
    assert "content-encoding" not in maker.get("/api/health", headers={"accept-encoding": "gzip"}).headers
