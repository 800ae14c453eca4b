"""The OpenMetrics text format, version 1.0: families in, exposition out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

CONTENT_TYPE: Final = "application/openmetrics-text; version=1.0.0; charset=utf-8"


@dataclass(frozen=True)
class Sample:
    """One value, with the labels that tell it from the others of its family."""

    value: float
    labels: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Family:
    """Samples of one meaning. `name` ends in `unit` where there is one; a counter's samples get
    the suffix `_total` here and never fall while the record stands.
    """

    name: str
    kind: Literal["counter", "gauge"]
    help: str
    samples: Sequence[Sample]
    unit: str = ""


def render(families: Iterable[Family]) -> str:
    """The exposition, ended by `# EOF`. Source: OpenMetrics 1.0, text format."""
    lines = [line for family in families for line in _family(family)]
    return "\n".join([*lines, "# EOF\n"])


def _family(family: Family) -> list[str]:
    head = [f"# TYPE {family.name} {family.kind}"]
    if family.unit:
        head.append(f"# UNIT {family.name} {family.unit}")
    head.append(f"# HELP {family.name} {_escaped(family.help)}")
    suffix = "_total" if family.kind == "counter" else ""
    return [*head, *(f"{family.name}{suffix}{_sample(sample)}" for sample in family.samples)]


def _sample(sample: Sample) -> str:
    labels = ",".join(f'{name}="{_escaped(text)}"' for name, text in sample.labels.items())
    value = repr(sample.value) if isinstance(sample.value, int) else repr(float(sample.value))
    return f"{{{labels}}} {value}" if labels else f" {value}"


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace("\n", "\\n").replace('"', '\\"')
