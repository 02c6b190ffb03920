"""Records as a stranger could make them: whatever they say, every hash, link and seal fits. No secret is needed."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from pathlib import Path
from typing import Any

from logger.record.files import as_csv, from_csv
from logger.record.seal import alarm_hashes, forecast_hash, seal_hash
from logger.store.hash_chain import EVENT_FIELDS, READING_FIELDS, canonical, link, sha256
from logger.store.seals import POUR_FIELDS
from logger.store.transfer import COLUMNS

#: Bundles that an earlier program exported.
KEPT = Path(__file__).parent / "references" / "records"


def kept(name: str = "poured") -> bytes:
    """One of them."""
    return (KEPT / f"{name}.zip").read_bytes()


class Forged:
    """A true bundle, to be changed at will and packed with hashes made anew.

    `tables` holds lists of dicts by column; `record` is the text that is sealed, as values.
    """

    def __init__(self, raw: bytes | None = None) -> None:
        with zipfile.ZipFile(io.BytesIO(kept() if raw is None else raw)) as packed:
            self.files = {name: packed.read(name) for name in packed.namelist()}
        self.workshop = str(json.loads(self.files.pop("manifest.json"))["workshop"])
        self.pour: dict[str, Any] = json.loads(self.files.pop("pour.json"))
        self.record: dict[str, Any] = json.loads(self.files.pop("record.json"))
        self.tables = {
            name: [
                dict(zip(COLUMNS[name], row, strict=True))
                for row in from_csv(name, self.files.pop(f"{name}.csv").decode())
            ]
            for name in COLUMNS
        }

    def event(self, kind: str) -> dict[str, Any]:
        """The first event of a kind."""
        return next(row for row in self.tables["events"] if row["kind"] == kind)

    def say(self, **values: Any) -> Forged:
        """Says something else of the pour, in its row and in its record."""
        self.pour |= values
        self.record["pour"] |= {name: value for name, value in values.items() if name in self.record["pour"]}
        for name in ("prediction", "plan_toml", "model_version"):
            if name in values:
                self.record[name] = values[name]
        return self

    def seal(self) -> None:
        """Makes links, heads and seal anew."""
        sealed_at = next(
            (at for at, row in enumerate(self.tables["events"]) if row["kind"] == "sealed"), None
        )
        self.pour["reading_head"] = self._chain("readings", READING_FIELDS)
        if sealed_at is None or self.pour["seal"] is None:
            self.pour["event_head"] = self._chain("events", EVENT_FIELDS)
            return
        head = self._chain("events", EVENT_FIELDS, sealed_at)
        self.record["chain"] = {"readings": self.pour["reading_head"], "events": head}
        poured = next(
            (
                row
                for row in self.tables["boots"]
                if row["of"] == "service" and row["boot_id"] == self.pour["poured_boot_id"]
            ),
            None,
        )
        about = {name: self.pour[name] for name in POUR_FIELDS} | {
            "station": self.pour["station"],
            "probes": self.pour["probes"],
            "poured_boot": None
            if poured is None
            else {"boot_id": poured["boot_id"], "offset_ms": poured["offset_ms"]},
        }
        self.pour["seal"] |= {
            "readings": {"count": len(self.tables["readings"]), "head": self.pour["reading_head"]},
            "events": {"count": sealed_at, "head": head},
            "boots": {
                row["boot_id"]: row["offset_ms"] for row in self.tables["boots"] if row["of"] == "station"
            },
            "pour": {name: sha256(canonical(value)) for name, value in about.items()},
            "alarms": [alarm_hashes(row) for row in self.tables["alarms"]],
            "forecasts": [forecast_hash(row) for row in self.tables["forecasts"]],
            "record_sha256": sha256(canonical(self.record)),
        }
        self.tables["events"][sealed_at]["data"] = {"seal_sha256": seal_hash(self.pour["seal"])}
        self.pour["event_head"] = self._chain("events", EVENT_FIELDS)

    def packed(self, compress: int = zipfile.ZIP_DEFLATED) -> bytes:
        """The file, sealed anew."""
        self.seal()
        body = canonical(self.record).encode(errors="surrogatepass")
        files = self.files | {
            "pour.json": canonical(self.pour).encode(errors="surrogatepass"),
            "record.json": body,
        }
        for name, rows in self.tables.items():
            text = "".join(as_csv(name, (tuple(row[column] for column in COLUMNS[name]) for row in rows)))
            files[f"{name}.csv"] = text.encode(errors="surrogatepass")
        return packed(
            files,
            self.workshop,
            None if self.pour["seal"] is None else seal_hash(self.pour["seal"]),
            compress,
        )

    def _chain(self, name: str, fields: tuple[str, ...], many: int | None = None) -> str:
        head = ""
        for row in self.tables[name][:many]:
            head = row["link"] = link(head, row, fields)
        return head


def packed(
    files: dict[str, bytes],
    workshop: str = "Elsewhere (invented)",
    seal: str | None = None,
    compress: int = zipfile.ZIP_DEFLATED,
) -> bytes:
    """A zip of these files with a manifest that fits."""
    manifest = {
        "bundle_version": 1,
        "made_ms": 1,
        "workshop": workshop,
        "title": "x",
        "seal_sha256": seal,
        "files": {
            name: {"sha256": hashlib.sha256(raw).hexdigest(), "bytes": len(raw)}
            for name, raw in files.items()
        },
    }
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", compress) as out:
        for name, raw in files.items():
            out.writestr(name, raw)
        out.writestr("manifest.json", json.dumps(manifest, ensure_ascii=False))
    return made.getvalue()
