"""Every kind of service that the message library knows, as a form: its fields and its addresses are the library's own.

Loads the library, which costs half a second: asked for by whoever chooses from its list.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any
from urllib.parse import quote

from logger.delivery.channel_kinds import STAYS_HERE, Entry, Kind, Target, of_library
from logger.errors import BadInput
from logger.facts import in_a_row
from logger.words.phrase import phrase

#: What a kind's name begins with here.
PREFIX = "service-"
_FIELD = re.compile(r"{(\w+)}")


@cache
def services() -> dict[str, str]:
    """Return the library's services: the first of their words in an address → the service's name, by name."""
    names = {
        _scheme(plugin): str(plugin["service_name"])
        for plugin in _plugins().values()
        if _scheme(plugin) not in STAYS_HERE | {"vapid"}
    }
    return dict(sorted(names.items(), key=lambda item: item[1].casefold()))


@cache
def kind_of_service(scheme: str) -> Kind:
    """Return the form of one of the library's services. Raises BadInput."""
    plugin = _plugins().get(scheme)
    if plugin is None or scheme not in services():
        raise BadInput(
            phrase("service"),
            phrase("is not one that the message library knows"),
            value=scheme,
            remedy=phrase("choose one"),
        )
    templates = tuple(str(template) for template in plugin["details"]["templates"])
    tokens: Mapping[str, Mapping[str, Any]] = plugin["details"]["tokens"]
    fields = [frozenset(_FIELD.findall(template)) - {"schema"} for template in templates]
    used = [name for name in tokens if any(name in names for names in fields)]
    entries = tuple(
        Entry(
            name,
            _label(name, tokens),
            phrase("several: with / between them") if name == "targets" else "",
            secret=bool(tokens[name].get("private")),
            required=all(name in names for names in fields),
            input="password" if tokens[name].get("private") else "text",
        )
        for name in used
    )
    choices = _schemes(plugin)
    if len(choices) > 1:
        words = tuple((one, f"{one}://") for one in choices)
        entries = (
            *entries,
            Entry(
                "schema",
                phrase("Spoken as"),
                phrase("the one with s at its end is encrypted"),
                choices=words,
                start=choices[-1],
            ),
        )

    def target(values: Mapping[str, str]) -> Target:
        filled = {name for name in used if values.get(name)}
        template = next((t for t, names in zip(templates, fields, strict=True) if names == filled), None)
        if template is None:
            raise BadInput(
                phrase("what was typed"),
                phrase("does not make an address of this service"),
                allowed=in_a_row(
                    [
                        f"({', '.join(words)})"
                        for words in dict.fromkeys(
                            tuple(_label(name, tokens) for name in used if name in names) for names in fields
                        )
                    ]
                ),
                remedy=phrase("fill in one of these sets of fields"),
            )
        chosen = values.get("schema") or choices[-1]
        safe = {"targets": "/", "path": "/"}
        url = _FIELD.sub(
            lambda m: chosen if m[1] == "schema" else quote(values[m[1]], safe=safe.get(m[1], "")), template
        )
        # Many services take a key where others have a host: the service's name says enough.
        return replace(of_library(url), about="")

    return Kind(PREFIX + scheme, str(plugin["service_name"]), "", entries, target)


@cache
def _plugins() -> dict[str, Mapping[str, Any]]:
    import apprise

    details = apprise.Apprise().details(lang="en")["schemas"]
    return {_scheme(plugin): plugin for plugin in details if plugin.get("enabled") is not False}


def _schemes(plugin: Mapping[str, Any]) -> list[str]:
    """Return a plugin's words in front of an address, the plain one first, the encrypted one last."""
    plain, secure = plugin.get("protocols") or (), plugin.get("secure_protocols") or ()
    return list(dict.fromkeys([*plain[:1], *secure[:1]]))


def _scheme(plugin: Mapping[str, Any]) -> str:
    return str(_schemes(plugin)[0])


def _label(name: str, tokens: Mapping[str, Mapping[str, Any]]) -> str:
    if name == "targets":
        parts = [str(tokens[one]["name"]) for one in tokens[name].get("group", ()) if one in tokens]
        if parts:
            return " or ".join(parts)
    return str(tokens[name]["name"])
