"""The wire: headers, sizes, rates, numbers, uploads, and what an error tells."""

from __future__ import annotations

import io
import json
import logging
from importlib.metadata import distribution
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from logger.errors import BadInput, BadSettings
from logger.settings import Https, Settings, read_settings
from web.security.routes_table import ROUTES
from web.security.throttle import address_key
from web.server.app import CONTENT_SECURITY_POLICY, HEADERS, STRICT_TRANSPORT
from web.server.serve import server_for
from web.service.service import Service
from web.views.photo_sanitize import LONGEST_SIDE, redrawn

TEMPLATES = Path(__file__).parents[3] / "web" / "templates"


def test_every_answer_carries_the_guarding_headers(house: Any) -> None:
    """Pages, errors, refusals, redirects, static files."""
    browser = house.browser("owner", follow_redirects=False)
    for path in (
        "/",
        "/sign-in",
        "/nowhere",
        "/api/pours",
        "/api/health",
        "/static/look.css",
        "/shared/x",
        "/people",
    ):
        for client in (browser, house.browser(follow_redirects=False)):
            headers = client.get(path).headers
            assert {name: headers.get(name) for name in HEADERS} == HEADERS, path
            assert "server" not in headers
            assert "x-powered-by" not in headers


def test_the_policy_allows_nothing_inline() -> None:
    """No script and no style but files of our own; no frame, no base, no plug-in (ASVS 5.0, 3.4.3 and 3.4.6)."""
    policy = dict(part.strip().partition(" ")[::2] for part in CONTENT_SECURITY_POLICY.split(";"))
    assert policy["default-src"] == policy["script-src"] == "'self'"
    # SHA-256 of nothing, base64 (FIPS 180-4): only an empty style element.
    assert policy["style-src"] == "'self' 'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"
    assert policy["frame-ancestors"] == policy["object-src"] == policy["base-uri"] == "'none'"
    assert "unsafe" not in CONTENT_SECURITY_POLICY


def test_no_template_has_inline_code_or_switches_escaping_off() -> None:
    """What the policy would block is not written in the first place."""
    for path in TEMPLATES.rglob("*.html"):
        if path.stem.endswith("-pdf"):
            continue  # drawn on paper by the service itself, never sent to a browser
        text = path.read_text(encoding="utf-8")
        assert "style=" not in text, path
        assert "<style" not in text, path
        assert "javascript:" not in text, path
        assert "|safe" not in text.replace(" ", ""), path
        assert not any(
            f" on{event}=" in text for event in ("click", "load", "error", "submit", "change", "input")
        ), path
        for script in text.split("<script")[1:]:
            assert "src=" in script.split(">")[0] or 'type="application/json"' in script.split(">")[0], path


def test_https_is_kept_to_once_it_was_used(house: Any) -> None:
    """And plain HTTP says nothing of it (a browser would ignore that)."""
    safe = house.browser(base_url="https://shop.example").get("/sign-in").headers
    assert safe["strict-transport-security"] == STRICT_TRANSPORT
    assert "strict-transport-security" not in house.browser().get("/sign-in").headers


def test_over_plain_http_the_sign_in_page_says_what_that_gives_up(house: Any) -> None:
    """Honest, where it matters."""
    assert "not encrypted" in house.browser().get("/sign-in").text
    assert "not encrypted" not in house.browser(base_url="https://shop.example").get("/sign-in").text


@pytest.mark.parametrize(
    ("method", "path", "limit"),
    [
        ("POST", "/sign-in", 65_536),
        ("POST", "/api/pours/1/notes", 65_536),
        ("POST", "/api/batches", 1_048_576),
        ("POST", "/api/pours", 2_097_152),
        ("POST", "/pours/1/photos", 15_728_640),
    ],
)
def test_a_body_is_no_larger_than_its_route_needs(house: Any, method: str, path: str, limit: int) -> None:
    """Told by its header or found out while it comes in."""
    browser = house.browser("maker")
    # The service reads a form where it asks for one.
    form = path == "/sign-in"
    headers = {"content-type": "application/x-www-form-urlencoded" if form else "application/json"}
    if path == "/api/batches":
        headers["authorization"] = f"Bearer {house.station_token}"
    answer = browser.request(method, path, content=b"x" * (limit + 1), headers=headers)
    assert answer.status_code == 413
    pieces = (b"x" * 65_536 for _ in range(limit // 65_536 + 2))
    assert browser.request(method, path, content=pieces, headers=headers).status_code in (400, 413, 422)


def test_a_rude_client_is_slowed_and_others_are_not(guarded: Any, seconds: Any) -> None:
    """600 requests at once, then 60 a second, by address; the answer says when to come again."""
    rude = TestClient(guarded.app, client=("10.0.0.66", 1))
    statuses = [rude.get("/api/health").status_code for _ in range(700)]
    assert statuses == [200] * 600 + [429] * 100
    assert rude.get("/api/health").headers["retry-after"] == "1"
    assert guarded.browser().get("/api/health").status_code == 200
    seconds.now_s += 1
    assert [rude.get("/api/health").status_code for _ in range(61)] == [200] * 60 + [429]


def test_addresses_of_one_ipv6_network_count_as_one() -> None:
    """A machine has 2^64 of them (RFC 4291); an IPv4 address that came as IPv6 stays itself (RFC 4291, 2.5.5.2)."""
    key = {
        address: address_key({"client": (address, 1)})
        for address in ("2001:db8::1", "2001:db8::ffff:1", "2001:db8:0:1::1", "10.0.0.7", "::ffff:10.0.0.7")
    }
    assert key["2001:db8::1"] == key["2001:db8::ffff:1"] != key["2001:db8:0:1::1"]
    assert key["10.0.0.7"] == key["::ffff:10.0.0.7"] == "10.0.0.7"
    assert address_key({"client": None}) == "nowhere"


NUMBERS = [2**70, -(2**70), 1e300, "12", True, False, None, [], {}, 0.5, "NaN"]


@pytest.mark.parametrize("number", NUMBERS, ids=repr)
def test_a_number_that_is_none_is_refused(house: Any, clock: Any, number: Any) -> None:
    """In a batch: not coerced, not stored, not a server error."""
    now = clock.stamp()
    stamp = {"wall_ms": now.wall_ms, "boot_id": "b", "boot_ms": now.boot_ms, "clock_set": True}
    good = {"seq": 1, "probe": "p", "place": "core", "stamp": stamp, "milli_c": 1, "fault": None, "raw": None}
    for name in ("seq", "milli_c"):
        if name == "milli_c" and number is None:
            continue  # a fault has no temperature
        body = {"station": "bench-1", "spool": "s", "sent": stamp, "rows": [good | {name: number}]}
        answer = house.browser().post(
            "/api/batches",
            content=json.dumps(body),
            headers={"authorization": f"Bearer {house.station_token}"},
        )
        assert answer.status_code == 422, (name, answer.text)


@pytest.mark.parametrize(
    "raw", [b"NaN", b"Infinity", b"-Infinity", b"1e999", b"9" * 5000, b'"\\ud800"', b"[" * 20_000]
)
def test_json_that_is_none_is_refused(house: Any, raw: bytes) -> None:
    """Python's reader takes NaN and lone surrogates: what comes after it does not."""
    browser = house.browser("maker")
    for body in (b'{"text": ' + raw + b"}", b'{"to": "ready", "text": ' + raw + b"}"):
        for path in ("/api/pours/1/notes", "/api/pours/1/stage"):
            answer = browser.post(path, content=body, headers={"content-type": "application/json"})
            assert answer.status_code in (400, 422), answer.text


def test_a_rows_number_in_an_address_fits_the_database(house: Any) -> None:
    """2^70, zero, a minus sign, Arabic digits: refused, in words."""
    browser = house.browser("owner")
    ids = [str(2**70), str(2**31), "0", "-1", "1e3", "٣x", "1.5"]
    for route in ROUTES:
        if "_id}" in route.path:
            for number in ids:
                path = route.path.format(
                    **dict.fromkeys(
                        (
                            "pour_id",
                            "alarm_id",
                            "invitation_id",
                            "person_id",
                            "sign_in_id",
                            "link_id",
                            "channel_id",
                            "name",
                        ),
                        number,
                    ),
                    where="desk",
                    section="form",
                )
                answer = browser.request(route.method, path, json={})
                assert answer.status_code in (404, 422), (route, number, answer.status_code)


def picture(kind: str, size: tuple[int, int] = (60, 40), **more: Any) -> bytes:
    """A picture of that kind."""
    made = io.BytesIO()
    Image.new("RGB", size, "peru").save(made, kind, **more)
    return made.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_photo_is_drawn_anew_without_what_hid_in_it(kind: str) -> None:
    """Place, camera, a script behind the picture: gone. Upright and whole: kept."""
    exif = Image.Exif()
    exif[0x0110] = "a camera's name"  # Model
    exif[0x0112] = 6  # Orientation: turned by 90 degrees (CIPA DC-008)
    exif[0x9286] = "<script>alert(1)</script>"  # UserComment
    kept = redrawn(picture(kind, exif=exif) + b"<script>alert(2)</script>PK\x03\x04")
    shown = Image.open(io.BytesIO(kept))
    assert (shown.format, shown.size) == ("JPEG", (40, 60))
    assert dict(shown.getexif()) == {}
    assert b"camera" not in kept
    assert b"script" not in kept


def test_a_large_photo_is_made_smaller() -> None:
    """A phone's twelve megapixels are more than a record needs."""
    shown = Image.open(io.BytesIO(redrawn(picture("JPEG", (4000, 3000)))))
    assert shown.size == (LONGEST_SIDE, LONGEST_SIDE * 3 // 4)


def test_a_picture_that_would_fill_the_memory_is_refused() -> None:
    """100 megapixels of one colour are 100 kB of PNG, and 300 MB when opened."""
    raw = picture("PNG", (10_000, 3_000))
    assert len(raw) < 200_000
    with pytest.raises(BadInput, match="too many pixels"):
        redrawn(raw)
    claimed = bytearray(picture("PNG"))
    claimed[16:24] = (60_000).to_bytes(4, "big") * 2
    with pytest.raises(BadInput):
        redrawn(bytes(claimed))


@pytest.mark.parametrize(
    "raw",
    [
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>",
        b"GIF89a" + bytes(40),
        b"BM" + bytes(60),
        b"\xff\xd8\xff\xe0" + bytes(99),
        b"%PDF-1.7",
        b"RIFF0000WEBP",
        b"%!PS",
    ],
)
def test_only_pictures_are_kept(raw: bytes) -> None:
    """By their content: PostScript, SVG, BMP and half pictures are none."""
    with pytest.raises(BadInput):
        redrawn(raw)


def test_a_files_name_is_never_used(house: Any, shop: Any, plan_toml: str) -> None:
    """Neither as a path nor as a word on a page."""
    pour = shop.plan(plan_toml)
    browser = house.browser("maker")
    name = "../../../../tmp/<img src=x onerror=alert(1)>.jpg"
    browser.post(f"/pours/{pour}/photos", files={"photo": (name, picture("PNG"), "text/html")})
    folder = Path(house.service.settings.data_dir) / "photos"
    kept = [path.name for path in folder.iterdir()]
    assert len(kept) == 1
    assert kept[0].endswith(".jpg")
    assert "onerror" not in browser.get(f"/pours/{pour}").text
    answer = browser.get(f"/pours/{pour}/photos/{kept[0].removesuffix('.jpg')}")
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["x-content-type-options"] == "nosniff"
    for wrong in ("..%2f..%2fpourlog.sqlite3", "%00", "a" * 64):
        assert browser.get(f"/pours/{pour}/photos/{wrong}").status_code == 404


def test_what_people_write_is_shown_as_text(house: Any, shop: Any, plan_toml: str) -> None:
    """A script in a note, a title, a client, a name."""
    evil = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>"
    pour = shop.plan(
        plan_toml.replace("River table for a fictional client", evil.replace('"', '\\"')), client=evil
    )
    browser = house.browser("owner")
    browser.post(f"/pours/{pour}/notes", data={"text": evil})
    browser.post("/people/invitations", data={"name": evil, "role": "viewer"})
    browser.post("/links", data={"label": evil})
    for path in (
        "/",
        f"/pours/{pour}",
        f"/pours/{pour}/record",
        f"/pours/{pour}/plan",
        "/people",
        "/links",
        "/pours/new",
    ):
        text = browser.get(path).text
        assert "<script>alert" not in text, path
        assert "<img src=x" not in text, path


def test_an_error_that_nobody_foresaw_tells_nothing(
    house: Any, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """500 without a trace, a path or a query; the log has it (ASVS 5.0, 16.5.1)."""

    def broken(*_: Any) -> None:
        raise RuntimeError("SELECT secret FROM /var/lib")

    monkeypatch.setattr("web.api.pours.pours.all_pours", broken)
    browser = house.browser("viewer", raise_server_exceptions=False)
    with caplog.at_level(logging.ERROR):
        answer = browser.get("/api/pours")
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    assert "RuntimeError" not in answer.text


def test_https_by_one_setting(tmp_path: Path, clock: Any) -> None:
    """A certificate and its key, both or neither, and readable."""
    file = tmp_path / "settings.toml"
    file.write_text('[https]\ncertificate = "cert.pem"\n')
    with pytest.raises(BadSettings, match="belong together"):
        read_settings(file)
    service = Service.open(
        Settings(data_dir=str(tmp_path), https=Https(certificate="no.pem", key="no.key")), clock
    )
    assert service.settings.link_base.startswith("https://")
    with pytest.raises(BadSettings, match=r"no\.pem"):
        server_for(service)
    service.close()


def test_only_a_proxy_on_this_machine_is_believed(service: Service) -> None:
    """X-Forwarded-For from the workshop's network is nobody's word."""
    plain = server_for(service).config
    assert not plain.proxy_headers
    behind = Settings(data_dir=service.settings.data_dir, https=Https(behind_proxy=True))
    service.settings = behind
    config = server_for(service).config
    assert config.proxy_headers
    assert config.forwarded_allow_ips == "127.0.0.1"


def test_libraries_that_read_what_strangers_send_are_not_ancient() -> None:
    """Versions known to be fit when this was written; older ones had holes (common practice, no source)."""
    for name, least in (
        ("python-multipart", (0, 0, 18)),
        ("starlette", (0, 49)),
        ("pillow", (11, 3)),
        ("httptools", (0, 7)),
    ):
        there = tuple(int(part) for part in distribution(name).version.split(".")[:3])
        assert there >= least, (name, there)
