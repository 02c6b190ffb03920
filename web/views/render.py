"""Draws a page from its template, with what every page needs: who is signed in, the workshop, trouble elsewhere."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache, wraps
from pathlib import Path
from typing import Any

from fastapi import Request
from markupsafe import Markup
from starlette.responses import HTMLResponse
from starlette.templating import Jinja2Templates

from logger.alarms.registry import KINDS
from logger.alarms.state import UP, Phase
from logger.facts import Fact, Quantity, fact
from logger.store import page_queries
from logger.store.people import Role
from logger.words.phrase import phrase
from logger.words.reader import current, reading
from logger.words.render import planned, say
from web.views import words
from web.views.glossary import TERMS
from web.views.reader_units import reader_of, reader_without_sign_in
from web.views.script_words import script_words

HERE = Path(__file__).resolve().parent.parent
STATIC = HERE / "static"
#: The chart library's script: plotly.js 4.1.1, its smallest published bundle (lines, bars, pies); MIT.
CHARTS = "vendor/plotly-basic.min.js"


@cache
def templates() -> Jinja2Templates:
    """Return the templates, compiled once, with the words that pages share."""
    engine = Jinja2Templates(directory=HERE / "templates")
    engine.env.trim_blocks = engine.env.lstrip_blocks = True
    engine.env.globals["asset"] = asset
    engine.env.globals["charts"] = CHARTS
    engine.env.globals["glossary"] = TERMS
    engine.env.globals["sign"] = sign
    engine.env.globals["script_words"] = script_words
    for name in words.__all__:
        engine.env.filters[name] = getattr(words, name)
    engine.env.finalize = in_the_readers_words
    for name in ("capitalize", "join", "length", "lower", "replace", "title", "trim", "truncate", "upper"):
        engine.env.filters[name] = _said_first(engine.env.filters[name])
    engine.env.add_extension("jinja2.ext.i18n")
    engine.env.policies["ext.i18n.trimmed"] = True
    engine.env.globals.update(gettext=_gettext, ngettext=_ngettext, _=_gettext)
    engine.env.newstyle_gettext = True  # type: ignore[attr-defined]  # what the extension reads
    engine.env.filters["planned"] = lambda text: planned(str(text), current())
    engine.env.filters["pair"] = lambda value: (value, value)
    engine.env.filters["swapped"] = lambda pair: (str(pair[1]), pair[0])
    return engine


def in_the_readers_words(value: Any) -> Any:
    """Whatever a page prints, with the facts and marked quantities in it in its reader's language and units.

    Every page's every sentence comes through here: none can forget it.
    """
    if isinstance(value, Markup) or not isinstance(value, str) or "{" not in value:
        return value
    return say(value)


def _said_first(change: Callable[..., Any]) -> Callable[..., Any]:
    """Return a filter that works on words, not on the fact that they are made of."""

    @wraps(change)
    def changed(*arguments: Any, **named: Any) -> Any:
        return change(*(_said(value) for value in arguments), **named)

    return changed


def _said(value: Any) -> Any:
    return say(value) if isinstance(value, Fact | Quantity) else value


def _gettext(text: str, /, **variables: Any) -> str:
    return _filled(current().words.gettext(text), variables)


def _ngettext(one: str, many: str, num: int, /, **variables: Any) -> str:
    return _filled(current().words.plural(None, one, many, num), {"num": num, **variables})


def _filled(text: str, variables: dict[str, Any]) -> str:
    """Return a template's text with its values, escaped; a percent sign is written twice in it.

    A text without tags may stand in an attribute: a quotation mark in it ends none.
    """
    shown = {name: in_the_readers_words(value) for name, value in variables.items()}
    return Markup(text if "<" in text else text.replace('"', "&#34;")) % shown


@cache
def asset(name: str) -> str:
    """Return a static file's address with its contents' hash, so that browsers may keep it for good."""
    digest = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:12]
    return f"/static/{name}?v={digest}"


def sign(name: str) -> Markup:
    """Return a state's shape; the word stands beside it, so that it says nothing to a screen reader."""
    return Markup('<svg class="sign" aria-hidden="true"><use href="#sign-{}"></use></svg>').format(name)


def _title_of(kind: str, phase: str) -> Fact:
    title = KINDS[kind].title
    return phrase("Cleared: {alarm}", alarm=title) if phase == Phase.RETURNED else title


def unsigned_page(
    request: Request, template: str, context: Mapping[str, Any], status: int, shop_units: str | None
) -> HTMLResponse:
    """Return a page that a message's link opens without a sign-in, in the reader's or else the shop's units."""
    service = request.app.state.service
    now_ms = service.timeline.true_ms()
    reader = replace(reader_without_sign_in(request, shop_units), now_ms=now_ms)
    shared = {
        "u": reader,
        "workshop": service.settings.workshop,
        "now_ms": now_ms,
    }
    with reading(reader):
        return templates().TemplateResponse(
            request,
            template,
            shared | dict(context),
            status_code=status,
            # The address holds the token: it goes to no other site, and to no search engine.
            headers={"Referrer-Policy": "no-referrer", "X-Robots-Tag": "noindex"},
        )


def page(
    request: Request, template: str, context: Mapping[str, Any] | None = None, status: int = 200
) -> HTMLResponse:
    """Return a page."""
    service = request.app.state.service
    who = getattr(request.state, "who", None)
    now_ms = service.timeline.true_ms()
    shared: dict[str, Any] = {
        "workshop": service.settings.workshop,
        "who": who,
        "may": who is not None and who.may(Role.MAKER),
        "u": replace(reader_of(request), now_ms=now_ms),
        "now_ms": now_ms,
        "trouble": [],
        "watch_trouble": service.watch_trouble,
    }
    if who is not None:
        with service.store.read() as connection:
            shared["trouble"] = [
                # What is over is no reason to run, but somebody has yet to say that they saw it.
                {
                    "id": row.id,
                    "activation": row.activation,
                    "priority": row.priority if row.phase in UP else "low",
                    "title": _title_of(row.kind, row.phase),
                    "pour": row.pour_title or phrase("the watch itself"),
                    "by": (row.acknowledged_by or fact("somebody"))
                    if row.phase == Phase.ACKNOWLEDGED
                    else None,
                }
                for row in page_queries.pressing(connection)
            ]
    whole = shared | dict(context or {})
    # The page of an alarm need not point at it as well.
    whole["trouble"] = [row for row in whole["trouble"] if row["id"] != whole.get("alarm_shown")]
    # What a page links to itself is not seen in the bar again, but it is sounded and opened from there. Of the rest
    # every alarm of high priority has its line; of the others only the first, and only where there is no high one, on
    # the page or in the bar.
    linked = whole.get("alarms_linked", ())
    rest = [row for row in whole["trouble"] if row["id"] not in linked]
    leads = bool(whole.get("alarm_leads")) or len(rest) < len(whole["trouble"])
    visible = [row for i, row in enumerate(rest) if row["priority"] == "high" or (i == 0 and not leads)]
    whole["trouble_seen"] = [row["id"] for row in visible]
    whole["hidden_trouble"] = len(rest) - len(visible)
    with reading(whole["u"]):
        return templates().TemplateResponse(request, template, whole, status_code=status)
