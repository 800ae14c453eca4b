"""Times as RFC 3339 writes them, through the function that all parts read times with.

Source: RFC 3339, 5.8. The examples stand in data/rfc3339.json.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from pydantic import TypeAdapter, ValidationError

from api.types import Time
from duestroke.times import format_time, parse_time

DATA = json.loads((Path(__file__).parent / "data" / "rfc3339.json").read_text("utf-8"))


@pytest.mark.parametrize("example", DATA["instants"], ids=lambda e: e["text"])
def test_same_instant_in_utc(example):
    """RFC 3339, 5.8: the examples with an offset are the instants that it names."""
    assert format_time(parse_time(example["text"])) == example["utc"]


def test_leap_second_is_read_alike_in_both_zones():
    """RFC 3339, 5.8: both texts are the leap second at the end of 1990. We read it as second 59."""
    utc, pacific = (parse_time(text) for text in DATA["one_leap_second"])
    assert utc == pacific == datetime(1990, 12, 31, 23, 59, 59, tzinfo=UTC)


def test_order_is_that_of_the_instants():
    """Texts sort otherwise than instants (RFC 3339, 5.1): ours are compared as instants."""
    times = [parse_time(example["text"]) for example in DATA["instants"]]
    assert sorted(times) == [times[2], times[0], times[1]]


@pytest.mark.parametrize("text", DATA["refused"])
def test_refused(text):
    """RFC 3339, 5.6 and 5.7: no such month, no offset, no such day."""
    with pytest.raises(ValueError, match=r".+"):
        parse_time(text)
    with pytest.raises(ValidationError):
        TypeAdapter(Time).validate_python(text)


def test_answers_are_written_in_the_same_form():
    """What the API writes is what it reads (RFC 3339, 5.6)."""
    adapter = TypeAdapter(Time)
    at = adapter.validate_python("1996-12-19T16:39:57.000001-08:00")
    assert adapter.dump_python(at) == "1996-12-20T00:39:57.000001Z"
