"""Resins of a shop's list: from a filled datasheet form to one, and which one a pour is planned with."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection

from logger.cure.fit.datasheet import datasheet_from_text, ends
from logger.cure.fit.datasheet_fit import fit_datasheet
from logger.errors import BadInput
from logger.plan.file import Resin
from logger.store import pours, resins
from logger.words.phrase import phrase
from web.actions import pours as pour_actions
from web.views.datasheet_form import FormFields, mix_of, sheet_toml

#: Longest datasheet file, characters.
LONGEST = 50_000


def resin_of(connection: Connection, choice: str) -> tuple[Resin, Mapping[str, Any]] | None:
    """Return the resin and [mix] table of a choice: a key of the list, or the number of an earlier pour. Raises
    NotFound.
    """
    if re.fullmatch(r"[0-9a-f]{12}", choice):
        data = resins.get(connection, choice).facts
        return Resin.model_validate(data["table"]), data["mix"]
    if re.fullmatch(r"[0-9]{1,9}", choice):
        return pour_actions.plan_of(pours.get_pour(connection, int(choice))).resin, {}
    return None


def fitted(f: FormFields) -> dict[str, Any]:
    """Return a resin as the list keeps it, from a filled form: takes seconds. Raises BadInput, DidNotConverge."""
    text = f.words("sheet_toml") or sheet_toml(f)
    if len(text) > LONGEST:
        raise BadInput(
            phrase("datasheet"),
            phrase("is too long"),
            value=phrase("{n} characters", n=len(text)),
            allowed=phrase("at most {longest}", longest=LONGEST),
            remedy=phrase("give the datasheet alone"),
        )
    sheet = datasheet_from_text(text, "datasheet")
    mix = mix_of(f)
    if mix and sheet.working_time:
        stated = sheet.working_time[0]
        mix |= {
            # Of a range the end at which the last pail is still safe.
            "working_time_min": ends(stated.time_min)[0],
            "working_time_mass_kg": stated.mass_kg,
            "working_time_c": stated.at_c,
        }
    fit = fit_datasheet(sheet).to_json()
    return {
        "name": sheet.name,
        "note": sheet.note,
        "sheet_toml": text,
        "fit": fit,
        "table": fit["resin"],
        "mix": mix,
        "source": {"kind": "datasheet"},
    }
