"""Positions over HTTP: defaults, the plant's own, sizes of a line or press."""

from __future__ import annotations

from store.unit import connect
from tests.support.plant import Plant, made

HOLD_RING = {
    "kind": "hold-ring",
    "handbook_life": 105_000_000,
    "handbook_spread": 0.35,
    "quantity": "face",
    "unit": "um",
    "limit": 20,
    "order": 75,
}


def put(api, position, body, **params):
    path = f"/positions/{position}"
    query = "&".join(f"{name}={value}" for name, value in params.items())
    return api.put(f"{path}?{query}" if query else path, body, role="engineer")


def listed(api):
    return {p["position"]: p for p in api.get("/positions").json()["items"]}


def errors(answer):
    return [error["field"] for error in answer.json().get("errors", [])]


def test_the_contracts_positions_are_there_from_cup_to_dome(api):
    found = listed(api)
    assert list(found) == [
        *("punch", "redraw-die", "redraw-sleeve", "ring-1", "ring-2", "ring-3"),
        *("stripper", "dome-die", "press"),
    ]
    assert found["ring-3"]["kind"] == "ironing-ring"
    assert found["ring-3"]["handbook_life"] == 35_000_000
    assert found["ring-3"]["handbook_own"] is False
    assert found["press"]["handbook_life"] is None


def test_a_plant_defines_a_position_and_changes_what_it_names(api):
    made_ = put(api, "hold-ring", HOLD_RING)
    assert made_.status_code == 201
    assert {name: made_.json()[name] for name in HOLD_RING} == HOLD_RING
    assert made_.json()["handbook_own"] is True
    changed = put(api, "hold-ring", {"limit": 18, "interval_strokes": 90_000_000})
    assert changed.status_code == 200
    assert changed.json() == made_.json() | {"limit": 18, "interval_strokes": 90_000_000}
    assert put(api, "hold-ring", {"interval_strokes": None}).json()["interval_strokes"] is None
    names = list(listed(api))
    assert names.index("stripper") < names.index("hold-ring") < names.index("dome-die")
    tool = {"serial": "H1", "kind": "hold-ring"}
    assert api.post("/tools", tool, role="crew").status_code == 201


def test_the_same_put_again_changes_nothing(api):
    first = put(api, "hold-ring", HOLD_RING).json()
    again = put(api, "hold-ring", HOLD_RING)
    assert (again.status_code, again.json()) == (200, first)


def test_the_press_keeps_a_fixed_interval(api):
    kept = put(api, "press", {"interval_strokes": 100_000_000, "interval_days": 182})
    assert kept.status_code == 200
    assert (kept.json()["interval_strokes"], kept.json()["interval_days"]) == (100_000_000, 182)


def test_a_size_for_one_line_or_press(api):
    put(api, "ring-3", {"size_mm": 66.1, "size_tolerance_mm": 0.01})
    line = put(api, "ring-3", {"size_mm": 58.2}, scope="works/2")
    assert line.status_code == 201
    repeated = {"kind": "ironing-ring", "size_tolerance_mm": 0.02}
    assert put(api, "ring-3", repeated, scope="works/2").status_code == 200
    assert listed(api)["ring-3"]["sizes"] == [
        {"scope": "works/2", "size_mm": 58.2, "size_tolerance_mm": 0.02}
    ]
    wrong = put(api, "ring-3", {"handbook_life": 1e6}, scope="works/2")
    assert (wrong.status_code, errors(wrong)) == (422, ["handbook_life"])


def test_the_narrowest_size_holds(api):
    put(api, "ring-3", {"size_mm": 66.1, "size_tolerance_mm": 0.01})
    put(api, "ring-3", {"size_mm": 58.2, "size_tolerance_mm": 0.01}, scope="works/1")
    put(api, "ring-3", {"size_mm": 58.4, "size_tolerance_mm": 0.01}, scope="works/1/02")
    with connect(api.database_url) as conn:
        plant = Plant(conn)
        for press in ("works/1/01", "works/1/02", "works/2/01"):
            plant.press(press)
        for serial, press in (("A", "works/1/01"), ("B", "works/1/02"), ("C", "works/2/01")):
            plant.unit.tools.add(serial, "ironing-ring", size_mm=58.4, by="t", at=made_at(0))
            event = made("fit", serial, 1, press=press, position="ring-3")
            warned = plant.enter(event).warnings.get(event.id, [])
            wanted = {"A": "58.2", "C": "66.1"}.get(serial)
            assert [wanted in words for words in warned] == ([True] if wanted else [])


def made_at(hour):
    return made("shelve", "x", hour).at


WRONG = [
    ("new", {}, "kind"),
    ("new", {"kind": None}, "kind"),
    ("new", {"kind": "press"}, "kind"),
    ("press", {"kind": "punch"}, "kind"),
    ("punch", {"handbook_life": 0}, "handbook_life"),
    ("punch", {"handbook_life": "long"}, "handbook_life"),
    ("punch", {"handbook_spread": None}, "handbook_spread"),
    ("punch", {"limit": 0}, "limit"),
    ("punch", {"size_mm": -1}, "size_mm"),
    ("punch", {"order": 1.5}, "order"),
    ("punch", {"interval_days": 0}, "interval_days"),
    ("NEW", HOLD_RING, "position"),
]


def test_a_wrong_field_is_422_and_named(api):
    for position, body, field in WRONG:
        answer = put(api, position, body)
        assert (answer.status_code, errors(answer)) == (422, [field]), (position, body)


def test_a_scope_needs_a_defined_position(api):
    answer = put(api, "new", {"size_mm": 1.0}, scope="works/1")
    assert (answer.status_code, errors(answer)) == (422, ["position"])


def test_the_kind_of_a_position_in_use_stays(api):
    with connect(api.database_url) as conn:
        plant = Plant(conn)
        plant.press("works/1/01")
        plant.tools()
        plant.enter(made("fit", "P1", 1, press="works/1/01", position="punch"))
    answer = put(api, "punch", {"kind": "stamp"})
    assert (answer.status_code, errors(answer)) == (409, ["kind"])


def test_pages_of_positions_and_roles(api):
    first = api.get("/positions", params={"limit": 5}).json()
    rest = api.get("/positions", params={"limit": 5, "cursor": first["next"]}).json()
    assert len(first["items"] + rest["items"]) == 9
    assert rest["next"] is None
    assert api.put("/positions/punch", {}, role="crew").status_code == 403
