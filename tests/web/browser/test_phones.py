"""Phones set up in a browser: three presses after the fields, by the code on the screen, and by Web Push."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import urlsplit

import cv2
import numpy as np
import pytest
from phone_receivers import mail_server, web_server
from PIL import Image
from push_receiver import PushService, Subscribed, push_service

from logger.delivery.web_push import encode
from logger.pour import Stage
from logger.settings import Messages

pytestmark = pytest.mark.browser
#: Stands in for the browser's own push service, which a test machine cannot reach: everything else is real.
SUBSCRIBE = """
({endpoint, p256dh, auth}) => {
  const bytes = (text) => Uint8Array.from(
    atob(text.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0)).buffer;
  PushManager.prototype.subscribe = async function (options) {
    window.asked = options;
    return {endpoint, getKey: (name) => bytes(name === "auth" ? auth : p256dh)};
  };
}
"""


@pytest.fixture
def messages() -> Messages:
    """Nobody in the settings file."""
    return Messages(timeout_s=2)


@pytest.fixture
def pushes() -> Iterator[PushService]:
    """A push service on loopback."""
    with push_service() as made:
        yield made


@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_three_presses_after_the_fields_and_alarms_come_by_mail(
    browse: Callable[..., Any], service: Any, size: str
) -> None:
    """Choose mail, save, say that it has arrived: no file, no command."""
    with mail_server() as mail:
        page = browse(size)
        page.goto("/")
        page.click("text=Set up my phone")
        page.get_by_role("link", name="Mail", exact=True).click()
        for name, value in {
            "to": "ada@shop.test",
            "server": "127.0.0.1",
            "port": str(mail.port),
            "user": mail.user,
            "password": mail.password,
        }.items():
            page.fill(f"[name={name}]", value)
        page.select_option("[name=encryption]", "none")
        page.get_by_role("button", name="Save and send a test").click()
        page.get_by_role("button", name="It has arrived").click()
        page.get_by_text("Alarms reach you.").wait_for()
        assert [to for to, _title, _text in mail.mails] == ["ada@shop.test"]
    assert list(service.addresses.groups()) == ["first"]
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_the_code_on_the_screen_sets_up_the_phone_that_reads_it(
    browse: Callable[..., Any], service: Any, address: str
) -> None:
    """The code is read off the picture of the page, and opened by a browser in which nobody is signed in."""
    desktop = browse("desktop")
    desktop.goto("/phone")
    desktop.get_by_role("button", name="Set it up on the phone").click()
    picture = Image.open(io.BytesIO(desktop.locator("img.scan").screenshot())).convert("RGB")
    read, _corners, _straight = cv2.QRCodeDetector().detectAndDecode(np.array(picture))
    assert read.startswith(f"{address}/to-phone/")
    phone = browse("phone", signed_in=False)
    phone.goto(urlsplit(read).path)
    with web_server() as web:
        phone.get_by_role("link", name="Web hook").click()
        phone.fill("[name=address]", f"http://127.0.0.1:{web.port}/nothing-here-yet")
        web.status = 404
        phone.get_by_role("button", name="Save and send a test").click()
        phone.get_by_text("The server knows no such address").wait_for()
        web.status = 200
        phone.fill("[name=address]", f"http://127.0.0.1:{web.port}/hook")
        phone.get_by_role("button", name="Save and send a test").click()
        phone.get_by_role("button", name="It has arrived").click()
        phone.get_by_text("Thank you: it has arrived").wait_for()
    assert len(service.addresses.every()) == 1
    desktop.get_by_role("link", name="Done").click()
    desktop.get_by_text("Alarms reach you.").wait_for()


def subscribe(page: Any, subscribed: Subscribed) -> None:
    """Has the page's browser subscribe at the test's push service."""
    page.context.grant_permissions(["notifications"])
    given = {
        "endpoint": subscribed.endpoint,
        "p256dh": encode(subscribed.public),
        "auth": encode(subscribed.auth),
    }
    page.evaluate(SUBSCRIBE, given)


def test_a_browser_rings_by_web_push(
    browse: Callable[..., Any], service: Any, shop: Any, plan_toml: str, pushes: PushService
) -> None:
    """Two presses; then an alarm goes through the same outbox, signed, encrypted, and the worker shows it."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    page = browse("phone")
    page.goto("/phone")
    key = page.get_attribute("form[data-push]", "data-push")
    subscribe(page, pushes.subscribe(key))
    page.get_by_role("button", name="Let this browser ring").click()
    page.get_by_role("button", name="It has arrived").click()
    page.get_by_text("Alarms reach you.").wait_for()
    assert json.loads(pushes.taken[0].text)["title"] == "Test message: please confirm"
    shop.feed(0.02, 5, lambda _h: {"core": 66.5, "surface": 50.0, "underside": 30.0, "room": 21.0})
    shop.send()
    push = next(one for one in pushes.taken if json.loads(one.text)["title"].startswith("URGENT"))
    alarm = json.loads(push.text)
    assert alarm["title"].startswith("URGENT: The core is too hot")
    assert re.search(r"/a/\S+$", alarm["url"])
    assert [shown["title"] for shown in delivered(page, push.text.decode())] == [alarm["title"]]
    assert pushes.refused == []


def delivered(page: Any, text: str) -> list[dict[str, Any]]:
    """What the real worker shows for a pushed text: handed to it as the browser hands on what it has decrypted."""
    devtools = page.context.new_cdp_session(page)
    registered: list[dict[str, Any]] = []
    devtools.on(
        "ServiceWorker.workerRegistrationUpdated", lambda said: registered.extend(said["registrations"])
    )
    devtools.send("ServiceWorker.enable")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    parts = urlsplit(page.url)
    devtools.send(
        "ServiceWorker.deliverPushMessage",
        {
            "origin": f"{parts.scheme}://{parts.netloc}",
            "registrationId": registered[-1]["registrationId"],
            "data": text,
        },
    )
    page.wait_for_function(
        "navigator.serviceWorker.ready.then((r) => r.getNotifications()).then((n) => n.length > 0)"
    )
    shown: list[dict[str, Any]] = page.evaluate(
        "navigator.serviceWorker.ready.then((r) => r.getNotifications())"
        ".then((all) => all.map((n) => ({title: n.title, body: n.body, stays: n.requireInteraction})))"
    )
    assert all(one["stays"] for one in shown)
    return shown


def test_without_the_service_the_installed_page_says_that_it_is_offline(
    browse: Callable[..., Any], service: Any
) -> None:
    """Plainly, with how long ago it was heard, and nothing of a pour; back in contact it goes on by itself."""
    page = browse("phone")
    page.goto("/phone")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    page.goto("/")
    page.context.set_offline(True)
    page.goto("/")
    assert page.text_content("h1") == "No contact with the workshop"
    page.wait_for_function("/ago, at/.test(document.getElementById('last-contact').textContent)")
    assert page.locator(".calm").count() == 0
    page.context.set_offline(False)
    page.get_by_role("button", name="Try again").click()
    page.get_by_text("Is any pour in trouble?").wait_for(state="attached")


def test_the_pages_can_be_installed(browse: Callable[..., Any]) -> None:
    """The manifest is sound to the browser itself, and its icons are as large as it says."""
    page = browse("phone")
    page.goto("/")
    devtools = page.context.new_cdp_session(page)
    said = devtools.send("Page.getAppManifest")
    assert said["errors"] == []
    manifest = json.loads(said["data"])
    for icon in manifest["icons"]:
        if icon["type"] == "image/png":
            size = Image.open(io.BytesIO(page.request.get(icon["src"]).body())).size
            assert f"{size[0]}x{size[1]}" == icon["sizes"]
    # A test's browser keeps nothing, which is all that it holds against the page.
    errors = devtools.send("Page.getInstallabilityErrors")["installabilityErrors"]
    assert [error["errorId"] for error in errors] == ["in-incognito"]
