"""Every library that the program is made of, with version and licence, as a CycloneDX 1.5 list (ECMA-424).

`python -m web.commands.sbom > parts.json`, made with each release and on each machine: it lists what is
installed there.
"""

from __future__ import annotations

import json
import re
import sys
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from typing import Any

#: The program's own name among the distributions.
OWN = "pourlog"
#: What others have built and lies in web/static, its licence's text beside it: name, version, licence (SPDX), package
#: URL.
BUNDLED = [
    ("plotly.js-basic-dist-min", "4.1.1", "MIT", "pkg:npm/plotly.js-basic-dist-min@4.1.1"),
]
_TEST = re.compile(r"extra == ['\"]test['\"]")


def parts() -> list[Distribution]:
    """Every distribution that the program needs at run time, and what those need, by name; those installed here."""
    by_name: dict[str, Distribution] = {}
    waiting = [OWN]
    while waiting:
        name = waiting.pop()
        key = _plain(name)
        if key in by_name:
            continue
        try:
            part = distribution(name)
        except PackageNotFoundError:
            continue  # for another machine or version of Python
        by_name[key] = part
        # The program's own extras are parts of it, but for what only tests need; a library's are not.
        waiting += [
            re.split(r"[\s;<>=!~\[(]", need, maxsplit=1)[0]
            for need in part.requires or []
            if "extra ==" not in need or (key == OWN and not _TEST.search(need))
        ]
    return [by_name[key] for key in sorted(by_name)]


def _plain(name: str) -> str:
    """Return a distribution's name as indexes spell it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def bill() -> dict[str, Any]:
    """Return the list as CycloneDX 1.5."""
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "version": 1,
        "components": [*(_component(part) for part in parts()), *_bundled()],
    }


def _bundled() -> list[dict[str, Any]]:
    return [
        {
            "type": "library",
            "name": name,
            "version": version,
            "purl": purl,
            "licenses": [{"license": {"id": licence}}],
        }
        for name, version, licence, purl in BUNDLED
    ]


def _component(part: Distribution) -> dict[str, Any]:
    name, version = part.metadata["Name"], part.version
    kind = "application" if name == OWN else "library"
    component: dict[str, Any] = {
        "type": kind,
        "name": name,
        "version": version,
        "purl": f"pkg:pypi/{_plain(name)}@{version}",
    }
    licence = (part.metadata.get_all("License-Expression") or part.metadata.get_all("License") or [""])[0]
    if licence:
        component["licenses"] = [{"license": {"name": licence.splitlines()[0][:100]}}]
    return component


if __name__ == "__main__":
    sys.stdout.write(json.dumps(bill(), indent=1, ensure_ascii=False) + "\n")
