"""The API's description: a program that reads it knows the fields of every answer."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from logger.record.refit_offers import OFFERED
from logger.store import events

#: Where an answer passes on what was frozen in an earlier day's shape, so that nothing more can be promised.
FREE = {
    "GET /api/pours/{pour_id}/record",
    "GET /api/pours/{pour_id}/everything",
    "PourAnswer.prediction",
    "EventAnswer.data",
    "FactAnswer.values",
}


def bare_objects(schema: dict[str, Any], where: str, shapes: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield (where, description) of every object of which nothing is said; a map of one type says enough."""
    if "$ref" in schema:
        name = schema["$ref"].rpartition("/")[2]
        for field, inner in shapes[name].get("properties", {}).items():
            # A shape's place in another tells more than where it was reached from.
            yield from bare_objects(inner, f"{name}.{field}", shapes)
        if not shapes[name].get("properties") and "enum" not in shapes[name]:
            yield name, ""
        return
    about = schema.get("description", "")
    parts = [*schema.get("anyOf", ()), *schema.get("prefixItems", ())]
    if "items" in schema:
        parts.append(schema["items"])
    if isinstance(schema.get("additionalProperties"), dict):
        parts.append(schema["additionalProperties"])
    if not schema.keys() - {"title", "description"} or (
        schema.get("type") == "object" and schema.get("additionalProperties", True) is True
    ):
        yield where, about
    for part in parts:
        yield from ((place, words or about) for place, words in bare_objects(part, where, shapes))


def json_answers(described: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield (method and path, schema) of every JSON answer of success."""
    for path, operations in described["paths"].items():
        for method, operation in operations.items():
            for code, answer in operation["responses"].items():
                if code.startswith("2") and "application/json" in answer.get("content", {}):
                    yield f"{method.upper()} {path}", answer["content"]["application/json"]["schema"]


def test_every_json_answer_names_its_fields(maker: Any) -> None:
    """What is free says where its fields are described, and nothing else is free."""
    described = maker.get("/api/openapi.json").json()
    shapes = described["components"]["schemas"]
    answers = dict(json_answers(described))
    bare = dict(found for where, schema in answers.items() for found in bare_objects(schema, where, shapes))
    assert len(answers) > 40
    assert set(bare) == FREE
    assert all(bare.values())


def test_every_answer_that_is_a_file_says_of_which_kind(maker: Any) -> None:
    """A program asks for a table and is not promised JSON."""
    paths = maker.get("/api/openapi.json").json()["paths"]
    kinds = {
        name: list(paths[f"/api/pours/{{pour_id}}/{name}"]["get"]["responses"]["200"]["content"])
        for name in ("tables/{name}", "bundle", "calendar.ics")
    }
    assert kinds == {
        "tables/{name}": ["text/csv"],
        "bundle": ["application/zip"],
        "calendar.ics": ["text/calendar"],
    }


def test_a_fit_on_offer_is_passed_on_as_it_was_worked_out(maker: Any, service: Any) -> None:
    """A field that was not worked out is left out; one of another version of the program is kept."""
    offer = {
        "resin_key": "0123456789abcdef",
        "resin": "Resin (invented)",
        "pours": [],
        "pours_seen": [1],
        "message": "No sealed pour of this resin has enough readings of its core.",
        "table": None,
        "of_another_version": 3,
    }
    with service.store.write() as tx:
        events.add_event(tx, None, 1000, OFFERED, "the program", "an offer", offer)
    assert maker.get("/api/shop").json()["fits"] == [offer | {"at_ms": 1000}]
