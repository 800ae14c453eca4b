"""What the tool room and the Lives page read stands in the real API's OpenAPI document."""

from __future__ import annotations

from typing import Any, get_args

import msgspec
import pytest

from api.app import create_app
from dashboard import life_facts, tool_room_facts


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    return create_app(database_url="postgresql://nowhere.invalid/none").openapi()


def resolve(document, schema):
    """Follow a reference, and a choice with null, to the object behind it."""
    for option in [*schema.get("anyOf", []), *schema.get("allOf", [])]:
        if option.get("type") != "null":
            schema = option
    if "$ref" in schema:
        return document["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    return schema


def struct_of(kind):
    """The struct in an annotation: bare, in a tuple, in a dict, or beside None."""
    if isinstance(kind, type) and issubclass(kind, msgspec.Struct):
        return kind
    found = (struct_of(part) for part in get_args(kind))
    return next((each for each in found if each is not None), None)


def missing(document, schema, kind, at):
    """Fields that a struct reads and the schema does not have; open objects are not looked into."""
    schema = resolve(document, schema)
    schema = resolve(document, schema.get("items", schema))
    if "properties" not in schema:
        inner = schema.get("additionalProperties")
        return missing(document, inner, kind, at) if isinstance(inner, dict) else []
    lost = []
    for field in msgspec.structs.fields(kind):
        name = field.encode_name
        if name not in schema["properties"]:
            lost.append(f"{at}.{name}")
        elif (inside := struct_of(field.type)) is not None:
            lost += missing(document, schema["properties"][name], inside, f"{at}.{name}")
    return lost


ITEMS = {"/lives": life_facts.Life, "/stock": tool_room_facts.Stock}
WHOLE = {
    "/demand": tool_room_facts.DemandList,
    "/forecasts/score": life_facts.Score,
}


def answer_of(document, path, method="get"):
    reply = document["paths"]["/api/v1" + path][method]["responses"]["200"]
    return reply["content"]["application/json"]["schema"]


@pytest.mark.parametrize("path", ITEMS)
def test_each_field_of_an_item_is_answered(document, path):
    page = resolve(document, answer_of(document, path))
    assert missing(document, page["properties"]["items"], ITEMS[path], path) == []


@pytest.mark.parametrize("path", WHOLE)
def test_each_field_of_an_answer_is_answered(document, path):
    assert missing(document, answer_of(document, path), WHOLE[path], path) == []


def test_each_field_of_a_model_and_of_a_what_if_is_answered(document):
    model = {"$ref": "#/components/schemas/OneLifeModel"}
    # The handbook stands beside the fields that the document names.
    beside = {"model.handbook_life", "model.handbook_spread"}
    assert set(missing(document, model, life_facts.Model, "model")) == beside
    asked = answer_of(document, "/life-models/what-if", "post")
    assert missing(document, asked, life_facts.WhatIf, "what-if") == []


def test_a_field_that_is_not_answered_is_found(document):
    class Wrong(life_facts.Life, frozen=True):
        never: int = 0

    page = resolve(document, answer_of(document, "/lives"))
    assert missing(document, page["properties"]["items"], Wrong, "") == [".never"]
