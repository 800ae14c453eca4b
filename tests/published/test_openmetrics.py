"""The exposition under the parser of the reference client library.

Source: OpenMetrics 1.0, text format: `# EOF` at the end, `_total` on counters, the unit as suffix
of the name, families not interleaved, a counter never NaN and never falling, from 0.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from api.openmetrics import Family, Sample, render

LABEL_TEXT = st.text(st.characters(codec="utf-8"), max_size=20)


@given(
    st.dictionaries(LABEL_TEXT, st.integers(0, 2**53), min_size=1, max_size=5),
    st.text(st.characters(codec="utf-8", exclude_characters="\r"), max_size=30),
)
def test_values_and_labels_come_back(values, words):
    """Round trip: the reference parser reads what is rendered, whatever stands in labels."""
    samples = [Sample(count, {"reason": reason}) for reason, count in values.items()]
    text = render([Family("duestroke_tried", "counter", words, samples)])
    (family,) = text_string_to_metric_families(text)
    assert family.type == "counter"
    assert {s.labels["reason"]: s.value for s in family.samples} == values
    assert all(s.name == "duestroke_tried_total" for s in family.samples)


def test_unit_stands_in_the_name_and_in_its_own_line():
    text = render(
        [Family("duestroke_age_seconds", "gauge", "an age", [Sample(1.5)], unit="seconds")]
    )
    (family,) = text_string_to_metric_families(text)
    assert (family.unit, family.samples[0].value) == ("seconds", 1.5)
    assert text.endswith("# EOF\n")


def test_the_parser_refuses_what_the_format_forbids():
    """The check can fail: without the closing line the reference parser refuses the same text."""
    text = render([Family("duestroke_tried", "counter", "tries", [Sample(0)])])
    with pytest.raises(ValueError, match="EOF"):
        list(text_string_to_metric_families(text.removesuffix("# EOF\n")))


def test_infinity_is_written_as_the_format_spells_it():
    text = render([Family("duestroke_age", "gauge", "an age", [Sample(math.inf)])])
    (family,) = text_string_to_metric_families(text)
    assert family.samples[0].value == math.inf
