"""Text to nodes: the same structure as another YAML 1.2 reader sees, with places a person can check."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from protocols.register_map.document import MOST_DEPTH, Mapping, Node, Scalar, compose
from protocols.register_map.faults import MOST_TOLD, Fault, Report, Spot

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall"


def read(text: str) -> tuple[Mapping | None, tuple[Fault, ...]]:
    report = Report("file.yaml")
    return compose(text.encode(), report), report.faults()


def shape(node: Node) -> Any:
    """Keys, lists and texts of a node, as nested Python values."""
    if isinstance(node, Scalar):
        return node.text
    if isinstance(node, Mapping):
        return {pair.key.text: shape(pair.value) for pair in node.pairs}
    return [shape(item) for item in node.items]


def unresolved(text: str) -> Any:
    """The same from ruamel's own loader, told to leave every scalar as text (its base loader)."""
    loader = YAML(typ="base", pure=True)
    return loader.load(text)


@pytest.mark.parametrize("file", sorted(path.name for path in DEMO.glob("*.yaml")))
def test_the_structure_is_the_one_another_loader_sees(file: str) -> None:
    text = (DEMO / file).read_text(encoding="utf-8")
    root, faults = read(text)
    assert faults == ()
    assert root is not None
    assert shape(root) == unresolved(text)


WORDS = st.sampled_from(
    ["a", "b", "no", "0100", "12:30", "m3/h", "'q: r'", '"x, y"', "7 bar(g)", "~", "-1", "é"]
)
VALUES = st.recursive(
    WORDS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4).map(lambda items: f"[{', '.join(items)}]"),
        st.dictionaries(st.sampled_from("klmn"), inner, max_size=4).map(
            lambda pairs: "{" + ", ".join(f"{key}: {value}" for key, value in pairs.items()) + "}"
        ),
    ),
    max_leaves=12,
)


@given(st.dictionaries(st.sampled_from("pqrst"), VALUES, min_size=1))
@settings(max_examples=150, deadline=None)
def test_any_structure_is_the_one_another_loader_sees(entries: dict[str, str]) -> None:
    text = "".join(f"{key}: {value}\n" for key, value in entries.items())
    root, faults = read(text)
    assert faults == ()
    assert root is not None
    assert shape(root) == unresolved(text)


def test_places_count_from_one_in_characters() -> None:
    root, _ = read("é: {b: [c, 'd']}\n\nlast:\n    - x\n")
    assert root is not None
    first, last = root.pairs
    assert (first.key.line, first.key.column) == (1, 1)
    assert isinstance(first.value, Mapping)
    assert (first.value.line, first.value.column) == (1, 4)
    assert (first.value.pairs[0].value.line, first.value.pairs[0].value.column) == (1, 8)
    assert (last.key.line, last.value.line, last.value.column) == (3, 4, 5)


def test_twenty_levels_are_read_and_one_more_is_not() -> None:
    def nested(levels: int) -> str:
        return "{a: " * levels + "1" + "}" * levels

    assert read(nested(MOST_DEPTH))[1] == ()
    told = read(nested(MOST_DEPTH + 1))[1]
    assert [(fault.line, fault.column) for fault in told] == [(1, 4 * MOST_DEPTH + 1)]


def test_what_is_refused_does_not_hide_what_follows() -> None:
    told = read("a: &x 1\nb: *x\nc: !t 2\nd: 1\nd: 2\n<<: {e: 1}\nf: {g: 0,5, h: 1}\n")[1]
    assert [(fault.line, fault.column) for fault in told] == [(1, 4), (2, 4), (3, 4), (5, 1), (6, 1), (7, 8)]


@pytest.mark.parametrize(
    "text", ["f: {codes: {0: 5, 1: 6}}", "f: [0,1]", "f: {a: 1, 2: }", "f: {a: 1,\n 2: }", "f: {a: x,1: }"]
)
def test_what_is_no_decimal_comma_is_not_taken_for_one(text: str) -> None:
    assert read(text + "\n")[1] == ()


def test_only_so_many_faults_are_told_and_the_rest_is_counted() -> None:
    report = Report("f")
    for line in range(1, MOST_TOLD + 11):
        report.fault(Spot(line, 1), "wrong")
    assert len(report.faults()) == MOST_TOLD + 1
    assert "10 more faults are not told" in report.faults()[-1].fault


def test_faults_are_told_in_the_order_of_the_text() -> None:
    report = Report("f")
    for line, column in ((3, 1), (1, 9), (1, 2)):
        report.warn(Spot(line, column), "odd")
    assert [(fault.line, fault.column) for fault in report.faults()] == [(1, 2), (1, 9), (3, 1)]
    assert not report.faulty
