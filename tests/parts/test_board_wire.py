"""The board's wire types and its fake API agree with the OpenAPI document of the real API."""

from __future__ import annotations

from typing import Any

import jsonschema
import msgspec
import pytest

from api.app import create_app
from dashboard import client, record, shifts
from tests.browser import fake_api, fake_record
from tests.browser.fake_api import NOW

PLANTS = [name for name in dir(fake_api) if name.startswith("plant_")]


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    return create_app(database_url="postgresql://nowhere.invalid/none").openapi()


def item_of(document, path):
    """Schema of one item of a list, with the document's components beside it."""
    reply = document["paths"]["/api/v1" + path]["get"]["responses"]["200"]
    page = resolve(document, reply["content"]["application/json"]["schema"])
    return resolve(document, page["properties"]["items"]["items"])


def resolve(document, schema):
    """Follow a reference, and `anyOf` with null, to the object behind it."""
    for option in schema.get("anyOf", []):
        if option.get("type") != "null":
            schema = option
    if "$ref" in schema:
        schema = document["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    return schema


SERIES = "/presses/{site}/{line}/{press}/series"
LISTS = {"/presses": client.Press, "/forecasts": client.Forecast, "/stops": client.Stop}
RECORD = {
    "/positions": record.Position,
    "/tool-events": record.Event,
    "/inspections": record.Inspection,
    "/flags": record.Flag,
    "/questions": record.Question,
    "/dry-windows": record.DryWindow,
    SERIES: record.Bucket,
}
PLAN = {"/shifts": shifts.SitePlan}
PARTS = {
    ("/forecasts", "rate"): client.Rate,
    ("/flags", "settled"): record.Settled,
    ("/presses", "last_report"): client.Reading,
    ("/shifts", "before"): shifts.OnShift,
    ("/presses", "counter_stands"): client.Standing,
    ("/forecasts", "basis"): client.Basis,
    ("/forecasts", "interval"): client.Interval,
}


@pytest.mark.parametrize(("path", "kind"), (LISTS | RECORD | PLAN).items())
def test_each_field_that_the_board_reads_is_answered(document, path, kind):
    known = item_of(document, path)
    names = {field.encode_name for field in msgspec.structs.fields(kind)}
    assert names <= set(known["properties"])
    required = {f.encode_name for f in msgspec.structs.fields(kind) if f.required}
    assert required <= set(known["required"])


@pytest.mark.parametrize(("place", "kind"), PARTS.items())
def test_each_part_that_the_board_reads_is_answered(document, place, kind):
    path, name = place
    part = resolve(document, item_of(document, path)["properties"][name])
    names = {field.encode_name for field in msgspec.structs.fields(kind)}
    assert names <= set(part["properties"])


def test_the_board_knows_each_state_that_may_be_answered(document):
    state = resolve(document, item_of(document, "/forecasts")["properties"]["state"])
    assert set(state["enum"]) == set(client.State.__args__)


@pytest.mark.parametrize("path", LISTS)
@pytest.mark.parametrize("plant", PLANTS)
def test_the_fake_answers_in_the_real_shape(document, plant, path):
    made = getattr(fake_api, plant)(NOW)
    items = {
        "/presses": made.presses,
        "/forecasts": fake_api.forecasts(made, NOW, [0.1, 0.5, 0.9]),
        "/stops": made.stops,
    }[path]
    schema = {**item_of(document, path), "components": document["components"]}
    check = jsonschema.Draft202012Validator(schema)
    for item in items:
        assert [fault.message for fault in check.iter_errors(item)] == []


@pytest.mark.parametrize("path", RECORD)
@pytest.mark.parametrize("press", ["harlow-mere/1/02", "harlow-mere/3/05", "harlow-mere/3/08"])
def test_the_fake_answers_about_a_press_in_the_real_shape(document, press, path):
    plant = fake_api.plant_of_21(NOW)
    asked = {"press": press, "bucket": "1d", "from": "2026-09-20T00:00:00+00:00"}
    told = path.format(**dict(zip(("site", "line", "press"), press.split("/"), strict=True)))
    items = fake_record.answer(plant, told, asked, NOW)
    assert items or path in ("/questions", "/dry-windows")
    schema = {**item_of(document, path), "components": document["components"]}
    check = jsonschema.Draft202012Validator(schema)
    for item in items:
        assert [fault.message for fault in check.iter_errors(item)] == []
        assert msgspec.convert(item, RECORD[path])
