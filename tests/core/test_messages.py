"""Reading payloads: what is taken, what is refused, in which words; and nothing raises."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duestroke.counting.types import Reading
from duestroke.messages import (
    MAX_PAYLOAD,
    Refused,
    Status,
    decode_report,
    decode_status,
    encode_reading,
    encode_status,
    payloads,
    report_topic,
    status_topic,
)
from duestroke.messages.wire import micros_of
from duestroke.times import from_micros, parse_time, to_micros

PRESS = "harlow-mere/2/07"
TOPIC = report_topic(PRESS)
GOOD = {
    "boot": "a1",
    "seq": 7,
    "at": "2026-03-01T06:00:00.25Z",
    "strokes": 1234,
    "peak_speed_mps": 6.5,
    "peak_accel_mps2": 812,
}
READING = Reading("a1", 7, to_micros(parse_time(GOOD["at"])), 1234, 6.5, 812.0)


def payload(**changes: object) -> bytes:
    return json.dumps(GOOD | changes).encode()


def without(field: str) -> bytes:
    return json.dumps({name: value for name, value in GOOD.items() if name != field}).encode()


def refused(body: bytes, topic: str = TOPIC) -> Refused:
    decoded = decode_report(topic, body)
    assert decoded.reports == []
    (only,) = decoded.refused
    return only


def test_a_report_and_an_array_of_reports() -> None:
    assert decode_report(TOPIC, payload()).reports == [(PRESS, READING)]
    many = b"[" + payload() + b",\n " + payload(seq=8) + b"]"
    assert [report.reading.seq for report in decode_report(TOPIC, many).reports] == [7, 8]
    assert decode_report(TOPIC, b"[]") == ([], [])


def test_peaks_may_be_null_or_missing_and_unknown_fields_are_left_out() -> None:
    bare = decode_report(TOPIC, without("peak_speed_mps")).reports[0].reading
    assert bare.peak_speed_mps is None
    null = payload(peak_accel_mps2=None, temperature={"oil": [40.5, "\ud83d\ude00"]}, note="ü")
    null = null.replace(b"40.5", b"1e999")
    assert decode_report(TOPIC, null).reports[0].reading.peak_accel_mps2 is None


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("boot", "", 'boot: got "", allowed is a string of 1 to 64 printable ASCII characters'),
        ("boot", "x" * 65, "boot: got"),
        ("boot", "b\u00fc", "boot: got"),
        ("boot", "a\n", "boot: got"),
        ("boot", 3, "boot: got 3, allowed is a string of 1 to 64 printable ASCII characters"),
        ("seq", -1, "seq: got -1, allowed is an integer from 0 to 2^53-1"),
        ("seq", 2**53, "seq: got 9007199254740992"),
        ("seq", True, "seq: got true"),
        ("seq", "7", 'seq: got "7"'),
        ("seq", 7.5, "seq: got 7.5"),
        ("seq", None, "seq: got null"),
        ("at", "2026-03-01T06:00:00", "allowed is an RFC 3339 time with an offset"),
        ("at", "2026-02-30T06:00:00Z", "at: got"),
        ("at", 1772344800, "at: got 1772344800"),
        ("at", "2026-03-01T06:00:00+24:00", "at: got"),
        ("strokes", -5, "strokes: got -5"),
        ("strokes", False, "strokes: got false"),
        ("strokes", 2**53, "strokes: got"),
        ("peak_speed_mps", 50.001, "peak_speed_mps: got 50.001, allowed is 0 to 50 m/s, or null"),
        ("peak_speed_mps", -0.1, "peak_speed_mps: got -0.1"),
        ("peak_speed_mps", True, "peak_speed_mps: got true"),
        ("peak_accel_mps2", 5001, "peak_accel_mps2: got 5001, allowed is 0 to 5000 m/s2, or null"),
        ("peak_accel_mps2", "9", 'peak_accel_mps2: got "9"'),
    ],
)
def test_a_wrong_field_is_named_with_its_value_and_what_is_allowed(
    field: str, value: object, says: str
) -> None:
    body = payload(**{field: value})
    found = refused(body)
    assert (found.reason, found.field, found.payload) == ("field", field, body)
    assert says in found.detail
    assert found.press == PRESS


@pytest.mark.parametrize("field", ["boot", "seq", "at", "strokes"])
def test_a_missing_field_is_named(field: str) -> None:
    found = refused(without(field))
    assert (found.reason, found.field) == ("field", field)
    assert "missing" in found.detail


def test_edges_of_each_range_are_taken() -> None:
    edges = payload(
        boot="~" * 64, seq=2**53 - 1, strokes=2**53 - 1, peak_speed_mps=50, peak_accel_mps2=0
    )
    reading = decode_report(TOPIC, edges).reports[0].reading
    assert reading[:2] == ("~" * 64, 2**53 - 1)
    assert reading[3:] == (2**53 - 1, 50.0, 0.0)


def test_the_good_ones_of_an_array_count_and_the_others_keep_their_own_bytes() -> None:
    bad = payload(seq=9, peak_speed_mps=-3.2)
    body = b"[" + payload() + b" , " + bad + b', "x",' + payload(seq=10) + b"]"
    reports, found = decode_report(TOPIC, body)
    assert [report.reading.seq for report in reports] == [7, 10]
    assert found[0][1:4] == (bad, "field", "peak_speed_mps")
    assert found[0].detail == "[1].peak_speed_mps: got -3.2, allowed is 0 to 50 m/s, or null"
    assert found[1][1:4] == (b'"x"', "malformed", None)
    assert found[1].detail.startswith("[2]: ")


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"\x00\xff",
        b"{",
        b"[1,]",
        b"nonsense",
        b"3",
        b"null",
        payload()[:-1],
        payload() + b"x",
        payload().replace(b"6.5", b"NaN"),
        payload().replace(b"6.5", b"Infinity"),
        b"[" + payload() + b"," + payload().replace(b"6.5", b"-Infinity") + b"]",
        payload().replace(b"a1", b"\xff\xfe"),
        b'{"note": "\xc3\x28"}',
        b"[" * 16000,
        b'{"x":' * 3000,
        b" " * MAX_PAYLOAD + payload(),
    ],
)
def test_what_cannot_be_read_is_malformed_with_all_its_bytes(body: bytes) -> None:
    found = refused(body)
    assert (found.reason, found.payload, found.press) == ("malformed", body, PRESS)


def test_a_number_past_every_float_is_a_field_fault() -> None:
    found = refused(payload().replace(b"6.5", b"1e999"))
    assert (found.reason, found.field) == ("field", "peak_speed_mps")
    assert refused(payload().replace(b"1234", b"9" * 5000)).field == "strokes"


def test_the_largest_payload_is_taken() -> None:
    body = payload() + b" " * (MAX_PAYLOAD - len(payload()))
    assert len(decode_report(TOPIC, body).reports) == 1


@pytest.mark.parametrize(
    "topic",
    [
        "duestroke/v1/harlow-mere/2/report",
        "duestroke/v1/Harlow/2/07/report",
        "duestroke/v1/a/b/" + "c" * 33 + "/report",
        "duestroke/v1//2/07/report",
        "duestroke/v1/a/b/c/report\n",
        "duestroke/v2/a/b/c/report",
        "duestroke/v1/a/b/c/status",
        "duestroke/v1/a/b/ü/report",
        "",
    ],
)
def test_another_topic_is_refused_without_a_press(topic: str) -> None:
    found = refused(payload(), topic)
    assert (found.reason, found.press, found.payload) == ("topic", None, payload())


def test_details_can_be_stored_and_read_by_people() -> None:
    found = refused(payload(boot="\x00\u202e" + "y" * 500))
    assert found.detail.isprintable()
    assert len(found.detail) < 300


@given(st.binary(max_size=300))
def test_no_bytes_raise(body: bytes) -> None:
    reports, found = decode_report(TOPIC, body)
    assert reports or found or body.strip(b" \t\r\n[]") == b""
    assert isinstance(decode_status(status_topic(PRESS), body), Refused)


JUNK = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=8),
    st.lists(st.integers(), max_size=2),
    st.dictionaries(st.text(max_size=3), st.integers(), max_size=2),
)


@given(st.dictionaries(st.sampled_from([*GOOD, "more"]), JUNK, max_size=3), st.booleans())
def test_the_short_way_and_the_long_way_agree(changes: dict[str, object], drop: bool) -> None:
    """An element next to a broken one is read field by field; alone it is read in one step."""
    values = {name: v for name, v in GOOD.items() if not (drop and name in changes)}
    element = json.dumps(values if drop else values | changes).encode()
    alone = decode_report(TOPIC, element)
    beside = decode_report(TOPIC, b"[" + element + b",0]")
    if b"NaN" in element or b"Infinity" in element:
        assert alone.refused[0].reason == beside.refused[0].reason == "malformed"
        return
    assert beside.reports == alone.reports
    assert len(beside.refused) == len(alone.refused) + 1
    for one, other in zip(alone.refused, beside.refused, strict=False):
        assert other.field == one.field
        assert other.payload == element


@given(
    st.datetimes(min_value=datetime(2, 1, 1), max_value=datetime(9998, 1, 1)),  # noqa: DTZ001
    st.integers(-1439, 1439),
    st.sampled_from(["T", "t", " "]),
    st.integers(0, 12),
)
def test_times_are_read_as_by_the_plain_parser(
    local: datetime, offset: int, separator: str, digits: int
) -> None:
    sign, size = ("-" if offset < 0 else "+"), abs(offset)
    fraction = f".{local.microsecond:06d}987654"[: digits + 1] if digits else ""
    text = f"{local.strftime('%Y').zfill(4)}{local.strftime('-%m-%d')}{separator}"
    text += f"{local.strftime('%H:%M:%S')}{fraction}{sign}{size // 60:02d}:{size % 60:02d}"
    assert micros_of(text) == to_micros(parse_time(text))


def test_digits_past_the_microsecond_are_cut_and_second_60_is_59() -> None:
    assert micros_of("1970-01-01T00:00:00.0000019999Z") == 1
    assert micros_of("2016-12-31t23:59:60.5z") == micros_of("2016-12-31T23:59:59.5+00:00")


@pytest.mark.parametrize(
    "text", ["2026-01-01T24:00:00Z", "2026-01-01T00:00:00+00:75", "２026-01-01T00:00:00Z"]
)
def test_times_that_only_look_right_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r".+"):
        micros_of(text)


@given(
    st.lists(
        st.builds(
            Reading,
            st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=64),
            st.integers(0, 2**53 - 1),
            st.integers(to_micros(datetime(1900, 1, 1, tzinfo=UTC)), 4 * 10**15),
            st.integers(0, 2**53 - 1),
            st.none() | st.floats(0, 50),
            st.none() | st.floats(0, 5000),
        ),
        max_size=30,
    )
)
def test_what_is_written_is_read_back(readings: list[Reading]) -> None:
    bodies = list(payloads(readings, limit=1000))
    back = [report for body in bodies for report in decode_report(TOPIC, body).reports]
    assert back == [(PRESS, reading) for reading in readings]
    assert all(len(body) <= 1000 for body in bodies)
    for reading in readings[:3]:
        assert decode_report(TOPIC, encode_reading(reading)).reports == [(PRESS, reading)]


def test_status_is_read_and_refused() -> None:
    topic = status_topic(PRESS)
    at = from_micros(READING.at)
    for state in ("running", "stopped", "offline"):
        assert decode_status(topic, encode_status(state, at)) == Status(PRESS, state, at)
    for body, field in ((b'{"state":"on"}', "state"), (b'{"state":"running","at":5}', "at")):
        found = decode_status(topic, body)
        assert isinstance(found, Refused)
        assert (found.reason, found.field, found.press) == ("field", field, PRESS)
    found = decode_status(TOPIC, b"{}")
    assert isinstance(found, Refused)
    assert found.reason == "topic"
    assert isinstance(decode_status(topic, b""), Refused)


@pytest.mark.parametrize("press", ["a/b", "A/b/c", "a/b/c/d", "a/b/+"])
def test_no_topic_is_made_for_what_is_no_press(press: str) -> None:
    with pytest.raises(ValueError, match="site/line/press"):
        report_topic(press)
