"""Cells of a plant's spreadsheets: ages rounded by hand, times, numbers, what is refused why."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duestroke.adoption import SHEETS, Refusal, read_strokes, read_table
from duestroke.adoption import cells as read


def local(*parts):
    """A time as a spreadsheet holds it, without an offset."""
    return datetime(*parts)  # noqa: DTZ001


@pytest.mark.parametrize(
    ("text", "value", "margin"),
    [
        ("20 M", 20_000_000, 500_000),
        ("20M", 20_000_000, 500_000),
        ("about 20 M", 20_000_000, 1_000_000),
        ("ca. 20 Mio", 20_000_000, 1_000_000),
        ("~ 20.5 m", 20_500_000, 100_000),
        ("20,5 M", 20_500_000, 50_000),
        ("20,000,000", 20_000_000, 500_000),
        ("20000000", 20_000_000, 500_000),
        ("20 000 000 strokes", 20_000_000, 500_000),
        ("20,400,000", 20_400_000, 50_000),
        ("31,204,877", 31_204_877, 0),
        ("20 M +/- 2 M", 20_000_000, 2_000_000),
        ("20 M ± 2", 20_000_000, 2_000_000),
        ("18-22 M", 20_000_000, 2_000_000),
        ("18 M to 22 M", 20_000_000, 2_000_000),
        ("1 M +/- 4 M", 1_000_000, 1_000_000),
        ("0", 0, 0),
        ("250 k", 250_000, 500),
    ],
)
def test_strokes_as_a_plant_writes_them(text, value, margin):
    """How far a rounded figure may be off: common practice, no source."""
    got = read_strokes(text)
    assert (got.value, got.margin) == (value, margin)


@pytest.mark.parametrize("text", ["", "many", "-3", "20.5", "1e6", "22-18 M", "20 Q", "12,34", "M"])
def test_what_is_no_strokes(text):
    with pytest.raises(ValueError, match="strokes such as"):
        read_strokes(text)


@given(st.integers(0, 10**12))
def test_any_whole_number_is_within_its_own_margin_of_half_a_million(value):
    got = read_strokes(f"{value:,}")
    assert got.value == value
    assert 0 <= got.margin <= 500_000
    assert got == read_strokes(str(value))
    assert got.low >= 0


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        (local(2026, 3, 1, 6), local(2026, 3, 1, 6)),
        (date(2026, 3, 1), local(2026, 3, 1)),
        ("2026-03-01", local(2026, 3, 1)),
        (" 2026-03-01 06:30 ", local(2026, 3, 1, 6, 30)),
        ("2026-03-01T06:30:15", local(2026, 3, 1, 6, 30, 15)),
        ("2026-03-01T06:00:00+01:00", datetime(2026, 3, 1, 5, tzinfo=UTC)),
    ],
)
def test_times_with_and_without_an_offset(cell, expected):
    assert read.moment(cell) == expected


@pytest.mark.parametrize("cell", ["01/03/2026", "yesterday", "2026-13-01", 45_000, True])
def test_what_is_no_time(cell):
    with pytest.raises(ValueError, match="a time such as"):
        read.moment(cell)


@pytest.mark.parametrize("cell", ["66,105", "a", True, float("nan"), "inf", -1, 0, 1_000, "1_0"])
def test_what_is_no_number(cell):
    with pytest.raises(ValueError, match="a number above 0 to 100"):
        read.number(0, 100, above=True)(cell)


def test_numbers_and_texts_of_a_spreadsheet():
    assert read.number(0, 100)("66.105") == 66.105
    assert read.integer(0, 10**9)("4,294,967") == 4_294_967
    assert read.integer(0, 10**9)(65_536.0) == 65_536
    with pytest.raises(ValueError, match="whole number"):
        read.integer(0, 10)(1.5)
    assert SHEETS["tools"].column("serial").read(12_345.0) == "12345"
    assert read.strokes_or_unknown("Unknown") is None
    with pytest.raises(ValueError, match="or unknown"):
        read.strokes_or_unknown("old")


HEAD = ["Serial", "KIND", "size mm", "colour"]


def test_a_table_is_read_by_its_headings_in_any_order_and_case():
    table = read_table(SHEETS["tools"], [HEAD, ["R1", "ironing-ring", 66.1, "red"], [], ["", None]])
    (record,) = table.records
    assert record.values == {"serial": "R1", "kind": "ironing-ring", "size_mm": 66.1}
    assert (record.row, table.ignored, table.refusals) == (2, ["colour"], [])


def test_every_cell_that_cannot_be_read_is_named():
    rows = [HEAD, ["R 1", None, "wide"], ["R2", "ironing-ring"], ["R3", "Ring!", -1]]
    table = read_table(SHEETS["tools"], rows)
    named = [(one.row, one.column, one.value) for one in table.refusals]
    assert named == [
        (2, "serial", "R 1"),
        (2, "kind", ""),
        (2, "size_mm", "wide"),
        (4, "kind", "Ring!"),
        (4, "size_mm", "-1"),
    ]
    assert [record.row for record in table.records] == [3]
    assert table.held("serial") == ["R 1", "R3"]
    assert str(table.refusals[2]).startswith(
        "tools, row 2, size_mm: got 'wide', allowed is a number"
    )


@pytest.mark.parametrize(
    ("heading", "column", "reason"),
    [
        (["serial", "batch"], "kind", "the column is missing"),
        (["serial", "kind", "Serial"], "serial", "stands twice"),
    ],
)
def test_headings_that_cannot_be_are_refused_before_any_row(heading, column, reason):
    table = read_table(SHEETS["tools"], [heading, ["?", "?"]])
    assert table.refusals == [Refusal("tools", 1, column, "", reason)]
    assert table.records == []


def test_an_empty_sheet_is_nothing_at_all():
    assert read_table(SHEETS["tools"], [[], [None, " "]]).refusals == []


@pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS.keys())
def test_every_example_of_a_template_is_accepted(sheet):
    for column in sheet.columns:
        if column.example:
            column.read(column.example)
        else:
            assert not column.needed
