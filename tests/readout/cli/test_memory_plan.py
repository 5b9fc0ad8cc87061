"""`memory plan` in the words a technician reads, from a map alone and from a point file."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from readout.cli.main import app
from readout.errors import WrongUse

MAP = """\
register_map: 1
meter: Hollow Mere test meter
serial: {{baud_rate: 19200, parity: even, unit_address: 12}}
{settings}
log_memory:
  capacity: 50000
  {memory}
  oldest: {{input: 96, type: uint32}}
  next: {{input: 98, type: uint32}}
  record:
    registers: 4
    fields: {{{fields}}}
  reached_by:
    window: {{pointer: {{holding: 82, type: uint32}}, echo: {{holding: 400, type: uint32}},
             data: {{holding: 402}}, records: 11}}
"""
STEPS = "settings: {log_interval: {holding: 32, type: uint16, unit: s, steps: [1, 2, 5, 10, 20, 60]}}"
FLOW = "flow: {at: 0, type: float32, unit: kg/h}, number: {at: 2, type: uint32}"
TIMED = "flow: {at: 0, type: float32, unit: kg/h}, time: {at: 2, type: unix time}"


def map_file(folder: Path, memory: str = "", settings: str = STEPS, fields: str = FLOW) -> Path:
    file = folder / "map.yaml"
    file.write_text(MAP.format(memory=memory, settings=settings, fields=fields), encoding="utf-8")
    return file


def plan(file: Path, *words: str) -> Result:
    return CliRunner().invoke(app, ["memory", "plan", str(file), *words])


def test_five_seconds_for_nine_days_end_before_the_visit_does(tmp_path: Path) -> None:
    """Common practice figures: 50,000 records every 5 s last 69 h 26 min 40 s; nine days need 15.552 s."""
    done = plan(map_file(tmp_path), "--every", "5s", "--for", "9d")
    assert done.exit_code == 1
    assert "50000 records every 5 s last 69 h 26 min 40 s" in done.stdout
    assert "WARNING: the memory ends before the visit does" in done.stderr
    assert "nothing is recorded in the last 146 h 33 min 20 s" in done.stderr
    assert "9 d need records 15.552 s apart or more; this meter then offers 20 s" in done.stderr


def test_a_meter_of_tenths_offers_fifteen_point_six(tmp_path: Path) -> None:
    settings = "settings: {log_interval: {holding: 32, type: uint16, scale: 0.1, unit: s}}"
    done = plan(map_file(tmp_path, settings=settings), "--for", "9d", "--json")
    assert done.exit_code == 0
    document = json.loads(done.stdout)
    assert list(document) == ["records", "interval_s", "lasts_s", "retrieval_s"]
    assert (document["interval_s"], document["lasts_s"]) == (15.6, 780_000)
    assert document["records"] == 49_846  # 777,600 s / 15.6 s, whole records
    assert "would find the memory full" in done.stderr  # ten minutes are left of nine days


def test_fixed_steps_offer_twenty_seconds_with_room_for_a_visit_that_slips(tmp_path: Path) -> None:
    done = plan(map_file(tmp_path), "--for", "9d")
    assert done.exit_code == 0
    assert "50000 records every 20 s last 11 d 13 h" in done.stdout
    assert "9 d make 38880 records" in done.stdout
    assert done.stderr == ""


def test_an_interval_alone_tells_how_long_it_lasts(tmp_path: Path) -> None:
    done = plan(map_file(tmp_path), "--every", "5s", "--json")
    assert done.exit_code == 0
    document = json.loads(done.stdout)
    assert (document["records"], document["interval_s"], document["lasts_s"]) == (50_000, 5, 250_000)


def test_an_interval_that_the_meter_does_not_take_is_told(tmp_path: Path) -> None:
    done = plan(map_file(tmp_path), "--every", "16s")
    assert done.exit_code == 1
    assert "this meter does not take 16 s; it takes 1, 2, 5, 10, 20, 60 s" in done.stderr


def test_a_ring_overwrites_instead_of_stopping(tmp_path: Path) -> None:
    done = plan(map_file(tmp_path, "when_full: overwrite oldest"), "--every", "5s", "--for", "9d")
    assert "when full: the oldest records are overwritten" in done.stdout
    assert "the first 146 h 33 min 20 s will have been overwritten" in done.stderr


@pytest.mark.parametrize(
    ("after", "fields", "said"),
    [
        ("stops", FLOW, "recording stops until somebody starts it again"),
        ("new session", FLOW, "a new session with a start of its own"),
        ("resumes", FLOW, "every time after the failure is early by as long as it lasted"),
        ("resumes", TIMED, "after a power failure: recording goes on\n"),
    ],
)
def test_what_a_power_failure_does_is_said(tmp_path: Path, after: str, fields: str, said: str) -> None:
    done = plan(map_file(tmp_path, f"after_power_loss: {after}", fields=fields), "--every", "5s")
    assert said in done.stdout


def test_retrieval_takes_longer_on_a_slower_line(tmp_path: Path) -> None:
    """Characters dominate: a line of half the speed takes nearly twice as long, and more than 1.5 times."""
    file = map_file(tmp_path)
    fast, slow = (
        json.loads(plan(file, "--every", "5s", "--json", "--baud", b).stdout) for b in ("19200", "9600")
    )
    assert 1.5 < slow["retrieval_s"] / fast["retrieval_s"] < 2


def test_a_point_file_is_planned_at_the_speed_of_its_line(tmp_path: Path) -> None:
    map_file(tmp_path)
    point = tmp_path / "point.yaml"
    point.write_text(
        "measuring_point: 1\nname: header\n"
        "site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin}\n"
        "meter: {map: map.yaml}\nline: {port: /dev/nothing, baud_rate: 9600}\n",
        encoding="utf-8",
    )
    done = plan(point, "--every", "5s")
    assert done.exit_code == 0
    assert "at 9600 8E1" in done.stdout


def test_nothing_to_plan_is_wrong_use(tmp_path: Path) -> None:
    done = plan(map_file(tmp_path))
    assert isinstance(done.exception, WrongUse)
    assert "--every DURATION, --for DURATION, or both" in str(done.exception)


def test_a_meter_without_a_memory_is_told(tmp_path: Path) -> None:
    file = tmp_path / "map.yaml"
    file.write_text(
        "register_map: 1\nmeter: m\nserial: {unit_address: 1}\nreadings: {flow: {input: 0, type: uint16}}\n"
    )
    done = plan(file, "--for", "9d")
    assert isinstance(done.exception, WrongUse)
    assert "says nothing of a log_memory" in str(done.exception)
