"""Rows as they are told: the same values as the archive seals, numbers as a person wants them on a screen."""

import struct
from pathlib import Path

import pytest

from protocols.register_map.parse import parse_map
from readout.daemon.live.board import Board, main_reading, shown
from readout.daemon.live.told import Decoder, Told, ToldReading
from readout.daemon.points import PointToRecord, load_points
from readout.poll.introduction import Introduction
from readout.sealing.record import pack
from readout.sealing.table import table_of
from storage.journal import Row

MAP = """\
register_map: 1
meter: Hollow Mere test meter
serial: {baud_rate: 19200, parity: even, unit_address: 12}
readings:
  pressure: {input: 2, type: uint16, scale: 0.001, unit: bar, gauge: true, not_available: [65535]}
  total:    {input: 3, type: float64, unit: m3, totaliser: true}
  flow:     {input: 0, type: float32, unit: m3/h, quantity: volume flow,
             reference: {temperature: {input: 8, type: int16, scale: 0.1, unit: degC}, pressure: 1 bar}}
  state:    {input: 7, type: uint16, bits: {0: sensor fault, 1: supply low}}
"""
POINT = """\
measuring_point: 1
name: header
site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin}
meter: {map: map.yaml, unit_address: 12}
line: {port: COM7}
"""
#: 252.94 m3/h, 7.18 bar(g), 1331644.9 m3, supply low, 20.0 degC, packed by Python's struct.
WORDS = struct.unpack(">9H", struct.pack(">fHdHh", 252.94, 7180, 1331644.9, 2, 200))


@pytest.fixture
def point(tmp_path: Path) -> PointToRecord:
    (tmp_path / "map.yaml").write_text(MAP, "utf-8")
    (tmp_path / "header.yaml").write_text(POINT, "utf-8")
    (found,) = load_points([tmp_path / "header.yaml"], 1000)
    return found


def row(words: tuple[int | None, ...], status: str = "ok", sequence: int = 7, due: int = 5000) -> Row:
    packed, present = pack(words)
    return Row("header", "live", "plan", due, 5040, "synchronised", status, status, packed, present, sequence)


def told(point: PointToRecord, one: Row) -> Told:
    text = point.record(Introduction({}, {})).to_text()
    return Decoder(lambda _: text).tell(one)


def test_the_values_are_those_that_the_archive_seals(point: PointToRecord) -> None:
    """Against the numbers packed by struct, and against the sealed table of the same row."""
    found = {reading.name: reading for reading in told(point, row(WORDS)).readings}
    assert found["flow"] == ToldReading("flow", 252.94, "m3/h", None, "20.0 degC, 1 bar")
    assert found["pressure"] == ToldReading("pressure", 7.18, "bar(g)", None)
    assert found["total"].value == 1331644.9
    assert found["state"].value == ["supply low"]
    (sealed,) = table_of(point.record(Introduction({}, {})), [row(WORDS)]).to_pylist()
    for name in ("pressure", "total"):
        assert sealed[name] == found[name].value
    assert struct.pack(">f", sealed["flow"]) == struct.pack(">f", found["flow"].value)


def test_what_did_not_come_is_no_value_and_never_zero(point: PointToRecord) -> None:
    """A row without words, and one whose pressure alone is marked as not available (65535)."""
    silent = told(point, row((), "no reply"))
    assert {reading.value for reading in silent.readings} == {None}
    assert not silent.has_values
    partial = told(point, row((*WORDS[:2], 65535, *WORDS[3:])))
    found = {reading.name: reading for reading in partial.readings}
    assert (found["pressure"].value, found["pressure"].flag) == (None, "not available")
    assert found["flow"].value == 252.94
    assert partial.as_json()["readings"]["pressure"] == {
        "value": None, "unit": "bar(g)", "flag": "not available",
    }  # fmt: skip


def test_numbers_on_a_screen_keep_their_decimals(point: PointToRecord) -> None:
    """So that digits do not jump: as many as the map's scale has; of a float five figures; a total whole."""
    values = {value.name: value for value in point.map.readings}

    def text(name: str, value: object) -> str | None:
        return shown(ToldReading(name, value, None, None), values[name])

    assert [text("pressure", value) for value in (7.18, 7.0, 12.345)] == ["7.180", "7.000", "12.345"]
    assert [text("flow", value) for value in (252.94, 8.0, 36.704777, 12345.678, 0.0)] == [
        "252.94", "8.0000", "36.705", "12346", "0.0000",
    ]  # fmt: skip
    assert text("total", 1331644.9) == "1331644.9"
    assert text("flow", 1.25e-7) == "1.25e-07"
    assert text("state", []) == "none"
    assert text("state", ["sensor fault", "supply low"]) == "sensor fault, supply low"
    assert text("flow", None) is None


def test_the_flow_is_the_figure_that_is_shown_largest(point: PointToRecord) -> None:
    """Also where a pressure or a total stands before it in the map; without a flow, the first reading."""
    assert main_reading(point.map.readings) == "flow"
    parsed = parse_map(MAP.replace("unit: m3/h, quantity: volume flow", "unit: m3").encode(), "map.yaml")
    assert parsed.map is not None, parsed.faults
    assert main_reading(parsed.map.readings) == "pressure"


def test_only_what_has_changed_is_told_again(point: PointToRecord) -> None:
    board = Board()
    board.begin([point])
    version, first = board.since(0)
    assert [one["name"] for one in first] == ["header"]
    assert board.since(version) == (version, [])
    board.add(told(point, row(WORDS)))
    after, changed = board.since(version)
    assert changed[0]["last"]["sequence"] == 7
    assert board.since(after)[1] == []


def test_the_last_value_stays_known_while_rounds_bring_none(point: PointToRecord) -> None:
    """Two silent rounds after a good one: since when, how many, and what was measured last."""
    board = Board()
    board.begin([point])
    board.add(told(point, row(WORDS)))
    for n in (8, 9):
        board.add(told(point, row((), "no reply", n, n * 1000)))
    (one,) = board.since(0)[1]
    assert (one["lacking"], one["lacking_since_ms"]) == (2, 8000)
    assert one["last"]["status"] == "no reply"
    assert {reading["name"]: reading["text"] for reading in one["good"]["readings"]}["flow"] == "252.94"
    board.add(told(point, row((), "skipped", 10, 10_000)))  # a silent meter is asked seldom
    assert [board.since(0)[1][0][name] for name in ("lacking", "lacking_status")] == [3, "no reply"]
    board.begin([point])  # the point files were taken up again: what is known stays
    assert board.since(0)[1][0]["lacking"] == 3
    board.add(told(point, row(WORDS, sequence=11, due=11_000)))
    assert [board.since(0)[1][0][name] for name in ("lacking", "lacking_status")] == [0, None]
    assert board.rows()[1] == {("header", "ok"): 2, ("header", "no reply"): 2, ("header", "skipped"): 1}
