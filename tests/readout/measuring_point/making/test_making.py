"""A new point file: its questions, what is wrong with an answer, and its text read again."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocols.register_map.document import Mapping, Node, Scalar, compose
from protocols.register_map.document import Sequence as Items
from protocols.register_map.faults import Report
from readout.errors import WrongUse
from readout.measuring_point.amendment.amend import any_change
from readout.measuring_point.making.asking import Asking
from readout.measuring_point.making.questions import QUESTIONS, Question, key_at, new_point, wrong_answer
from readout.measuring_point.making.yaml_text import WIDEST, yaml_of
from readout.measuring_point.point import parse_point

DEMO = Path(__file__).parents[4] / "demo_data/bottling_hall"


def plain(node: Node) -> object:
    """A node without its places."""
    if isinstance(node, Mapping):
        return {pair.key.text: plain(pair.value) for pair in node.pairs}
    return [plain(item) for item in node.items] if isinstance(node, Items) else node.text


def composed(text: str) -> Mapping:
    report = Report("text")
    root = compose(text.encode(), report)
    assert root is not None, report.faults()
    assert report.faults() == ()
    return root


@pytest.mark.parametrize("name", ["bottling-hall-header.yaml", "job.yaml", "rinse-water.yaml"])
def test_a_file_written_again_says_the_same(name: str) -> None:
    root = composed((DEMO / name).read_text(encoding="utf-8"))
    assert plain(composed(yaml_of(root))) == plain(root)


@given(st.text(st.characters(exclude_categories=["C"]), min_size=1, max_size=30), st.booleans())
def test_any_text_comes_back_as_it_was(text: str, is_plain: bool) -> None:
    """Also where it looks like YAML: `a: b`, `[x]`, `- y`, quotes."""
    scalar = Scalar(text, 1, 1, plain=is_plain)
    found = composed("key: {inner: 1}\n")
    pair = found.pairs[0]
    inner = Mapping((type(pair)(pair.key, scalar),), 1, 1)
    root = Mapping((type(pair)(Scalar("outer", 1, 1), inner), type(pair)(Scalar("top", 1, 1), scalar)), 1, 1)
    assert plain(composed(yaml_of(root))) == {"outer": {"key": text}, "top": text}


def test_long_groups_are_broken_into_lines() -> None:
    root = composed((DEMO / "bottling-hall-header.yaml").read_text(encoding="utf-8"))
    assert max(len(line) for line in yaml_of(root).splitlines()) <= WIDEST + 10


def test_answers_become_a_point(tmp_path: Path) -> None:
    told = [
        "name=header-1", "site.name=Hall: the new one", "site.time_zone=Europe/Dublin", "meter.map=m.yaml",
        "line.port=socket://192.0.2.7:4001", "pipe.outside_diameter=60.3 mm", "pipe.wall_thickness=3.6mm",
    ]  # fmt: skip
    told[1] = "site.name='Hall: the new one'"
    (tmp_path / "p.yaml").write_text(
        yaml_of(new_point([any_change(text) for text in told])), encoding="utf-8"
    )
    parsed = parse_point(tmp_path / "p.yaml")
    assert parsed.faults == ()
    assert parsed.point is not None
    assert parsed.point.site.name == "Hall: the new one"
    assert parsed.point.line.port == "socket://192.0.2.7:4001"
    assert str(parsed.point.pipe and parsed.point.pipe.wall_thickness) == "3.6 mm"


@pytest.mark.parametrize(
    ("key", "answer", "wanted"),
    [
        ("pipe.outside_diameter", "60.3", "no number with a unit"),
        ("pipe.outside_diameter", "60.3 mm", ""),
        ("conditions.pressure", "7 bar", "gauge or absolute"),
        ("conditions.pressure", "7 bar(g)", ""),
        ("conditions.expected_flow", "40 scfm to 60 scfm", "hides its reference conditions"),
        ("pipe.inlet_run.after", "bend", "allowed: none, single elbow"),
        ("pipe.standard", "EN 10255 medium DN 50", ""),
        ("site.time_zone", "Dublin", "did you mean Europe/Dublin"),
        ("name", "Header 1", "write such as header-1"),
        ("name", "*x", "alias"),
        ("record.every", "1 ms", "out of range"),
    ],
)
def test_an_answer_is_checked_as_the_file_would_be(key: str, answer: str, wanted: str) -> None:
    found = wrong_answer(Question(key), answer)
    assert (found == "") == (wanted == "")
    assert wanted in found


def test_questions_ask_for_keys_that_there_are_and_show_the_words_allowed() -> None:
    for question in QUESTIONS:
        assert question.text.startswith(f"{question.key}: ")
    assert "single elbow" in Question("pipe.inlet_run.after").text


def test_every_required_key_is_asked_for() -> None:
    """What the file format demands of a point without a job."""
    asked = {question.key for question in QUESTIONS if question.required}
    assert {"name", "site.name", "site.time_zone", "meter.map", "line.port"} <= asked


def asked_to_the_end(given: list[str]) -> list[str]:
    """The keys that are asked for after those given, where each is passed over."""
    asking, keys = Asking([any_change(text) for text in given]), []
    while (question := asking.question) is not None:
        keys.append(question.key)
        assert asking.take(question, "") == ""
    return keys


NEEDED = ["name=a", "site.name=Hall", "site.time_zone=UTC", "meter.map=m.yaml", "line.port=COM7"]


def test_what_point_show_misses_is_asked_for_where_there_is_a_pipe() -> None:
    with_pipe = asked_to_the_end([*NEEDED, "pipe.inside_diameter=53 mm"])
    assert {
        "pipe.wall_thickness", "pipe.probe.fitting_height", "conditions.temperature", "reference.temperature",
    } <= set(with_pipe)  # fmt: skip
    with_probe = asked_to_the_end([*NEEDED, "pipe.inside_diameter=53 mm", "pipe.probe.stem_diameter=8 mm"])
    assert "pipe.probe.sensor_to_tip" in with_probe
    assert not [key for key in asked_to_the_end(NEEDED) if key.startswith("pipe.probe")]
    assert (
        "then there is no mark on the stem"
        in Question("pipe.probe.fitting_height", "there is no mark on the stem").text
    )


def test_going_back_asks_the_question_before_again_and_forgets_its_answer() -> None:
    asking = Asking([any_change(text) for text in [*NEEDED, "job=job.yaml"]])
    typed = ["branch flow", "7", "back", "<", "header flow"]
    keys = []
    for text in typed:
        question = asking.question
        assert question is not None
        keys.append(question.key)
        assert asking.take(question, text) == ""
    assert keys == ["role", "meter.unit_address", "meter.serial_number", "meter.unit_address", "role"]
    assert {change.name: change.value for change in asking.answers}["role"] == "header flow"
    assert "meter.unit_address" not in [change.name for change in asking.answers]


def test_there_is_nothing_before_the_first_question() -> None:
    asking = Asking([])
    question = asking.question
    assert question is not None
    assert asking.take(question, "back") == "this is the first question"
    assert asking.take(question, "'back'") == ""  # a point may have that name
    assert asking.take(question, "") == "this is needed"


def test_a_pipes_keys_are_asked_only_with_its_size() -> None:
    wall = Question("pipe.wall_thickness", after=("pipe.outside_diameter",))
    assert not wall.is_due({"name"})
    assert wall.is_due({"pipe.outside_diameter"})
    assert not Question("pipe.inlet_run.length").is_due(set())
    assert Question("pipe.inlet_run.length").is_due({"pipe.standard"})
    assert not Question("pipe.standard", unless=("pipe.outside_diameter",)).is_due({"pipe.outside_diameter"})


def test_an_unknown_key_names_those_there_are() -> None:
    with pytest.raises(WrongUse, match="'bore' is no key here; known: outside_diameter"):
        key_at(("pipe", "bore"))
    with pytest.raises(WrongUse, match="'fitting_height' is no key here, but of its 'probe': write it there"):
        key_at(("pipe", "fitting_height"))
    with pytest.raises(WrongUse, match="none of its own"):
        key_at(("name", "first"))
