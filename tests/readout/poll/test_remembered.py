"""What was learned is there for the next run, for the right map and meter, and never in the way."""

import json
from pathlib import Path

import pytest

from protocols.modbus.tables import Table
from readout.plan.refusals import Refusal, Refusals
from readout.poll.remembered import Known, Remembered, learned_file, load

NOON = 1_777_896_000.0  # 2026-05-04T12:00Z
SOME = Refusals(
    (
        Refusal(Table.INPUT, 0, 30, exception=3, learned=NOON, asked=NOON),
        Refusal(Table.HOLDING, 7, 1, 2, None, ("damping", "gas"), NOON, NOON + 60.5),
    )
)


def memory(
    folder: Path, said: list[str], serial: str | None = None, point: str = "hall", sha256: str = "a1"
) -> Remembered:
    return Remembered(folder / "mere-5.yaml", sha256, point, serial, said.append)


def test_what_was_kept_is_found_again_whole(tmp_path: Path) -> None:
    said: list[str] = []
    memory(tmp_path, said).keep(SOME)
    assert memory(tmp_path, said).refusals == SOME
    assert (learned_file(tmp_path / "mere-5.yaml").name, said) == ("mere-5.learned.json", [])
    assert [file.name for file in tmp_path.iterdir()] == ["mere-5.learned.json"]


def test_what_one_meter_refuses_is_asked_of_another_of_its_kind(tmp_path: Path) -> None:
    memory(tmp_path, [], "HM-1").keep(SOME)
    assert memory(tmp_path, [], "HM-2").refusals == Refusals()
    assert memory(tmp_path, [], None, "packing").refusals == Refusals()
    memory(tmp_path, [], None, "packing").keep(Refusals(SOME.all[:1]))
    assert memory(tmp_path, [], "HM-1", "moved").refusals == SOME
    assert memory(tmp_path, [], None, "packing").refusals == Refusals(SOME.all[:1])


def test_a_meter_that_tells_its_number_only_when_asked_is_known_by_its_point_until_then(
    tmp_path: Path,
) -> None:
    first = memory(tmp_path, [])
    assert first.recall("HM-1") is None
    first.keep(SOME)
    later = memory(tmp_path, [])
    assert later.refusals == SOME
    assert later.recall("HM-1") is None


def test_another_meter_at_the_same_point_begins_with_what_is_known_of_itself(tmp_path: Path) -> None:
    memory(tmp_path, [], "HM-2", "packing").keep(Refusals(SOME.all[:1]))
    memory(tmp_path, [], "HM-1").keep(SOME)
    assert memory(tmp_path, []).recall("HM-2") == Refusals(SOME.all[:1])
    assert memory(tmp_path, []).recall("HM-3") == Refusals()


def test_after_a_change_of_the_map_it_is_ignored_and_says_so(tmp_path: Path) -> None:
    memory(tmp_path, []).keep(SOME)
    said: list[str] = []
    changed = memory(tmp_path, said, sha256="b2")
    assert changed.refusals == Refusals()
    assert len(said) == 1
    assert "mere-5.yaml has been changed since this was learned" in said[0]
    changed.keep(Refusals(SOME.all[1:]))
    assert load(tmp_path / "mere-5.yaml", "b2") == ([Known("hall", None, Refusals(SOME.all[1:]))], "")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "3",
        '{"format": 1}',
        '{"format": 9, "map_sha256": "a1", "meters": []}',
        '{"format": 1, "map_sha256": "a1", "meters": [{"point": "hall", "serial_number": 7, "refused": []}]}',
        "[" * 100_000,
        "\ud800",
    ],
)
def test_a_file_that_is_not_understood_is_ignored_and_says_so(tmp_path: Path, text: str) -> None:
    learned_file(tmp_path / "mere-5.yaml").write_bytes(text.encode("utf-8", "surrogatepass"))
    said: list[str] = []
    assert memory(tmp_path, said).refusals == Refusals()
    assert len(said) == 1
    assert "learned again" in said[0]


@pytest.mark.parametrize(
    ("key", "wrong"),
    [
        ("table", "inputs"),
        ("start", -1),
        ("start", "0"),
        ("start", True),
        ("count", 0),
        ("count", 65_537),
        ("words_per_address", 3),
        ("exception", 256),
        ("values", [4]),
        ("values", None),
        ("learned", "yesterday"),
        ("asked", None),
    ],
)
def test_an_entry_that_was_edited_wrongly_is_no_use(tmp_path: Path, key: str, wrong: object) -> None:
    memory(tmp_path, []).keep(SOME)
    file = learned_file(tmp_path / "mere-5.yaml")
    document = json.loads(file.read_text())
    document["meters"][0]["refused"][0][key] = wrong
    file.write_text(json.dumps(document))
    meters, fault = load(tmp_path / "mere-5.yaml", "a1")
    assert (meters, "not as it was written" in fault) == ([], True)


def test_where_nothing_can_be_written_it_says_so_once_and_goes_on(tmp_path: Path) -> None:
    said: list[str] = []
    here = memory(tmp_path / "not-there", said)
    here.keep(SOME)
    here.keep(SOME)
    assert len(said) == 1
    assert said[0].startswith("What the meter refuses is known until this ends, and then forgotten: ")
