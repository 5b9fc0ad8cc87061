"""`visit start` on a simulated meter: a go, and for each step what keeps it from one; nothing done twice."""

import json
from typing import Any

import pytest
from typer.testing import Result

from readout.cli.visit_start import STEPS
from readout.visit.answers import LackingAnswer


def failed(done: Result) -> dict[str, Any]:
    """The step at which it ended."""
    record = json.loads(done.stdout)
    assert record["verdict"] == "no-go", record
    found: dict[str, Any] = record["checks"][-1]
    assert found["verdict"] != "go"
    assert found["advice"], "it says what to try"
    return found


def test_a_visit_that_goes_well(site: Any) -> None:
    """Every step go; what was in the meter is in the archive before it starts; the tag; the ledger's line."""
    with site.line() as meter:
        site.ready()
        done = site.start("--json", note="probe at the centre")
        assert done.exit_code == 0, done.output
        record = json.loads(done.stdout)
        assert [one["check"] for one in record["checks"]] == list(STEPS)
        assert {one["verdict"] for one in record["checks"]} == {"go"}
        assert record["serial_number"] == "EX-0042"
        assert any("DO NOT SWITCH OFF" in line for line in record["leave"])
        steps = {one["check"]: one for one in record["checks"]}
        assert steps["memory"]["found"]["fetched"]["records_new"] == 5
        assert steps["settings"]["found"]["settings"]["inside_diameter"]["value"] == pytest.approx(53.1)
        assert steps["recording"]["found"]["records"] > 5
        kinds = [line.kind for line in site.ledger]
        assert kinds.index("retrieved") < max(n for n, kind in enumerate(kinds) if kind == "setting")
        assert [line.content["text"] for line in site.ledger if line.kind == "note"] == [
            "probe at the centre", "visit start: go",
        ]  # fmt: skip
        assert not list((site.archive / "journal").glob("visit-*"))
        lines, writes = len(site.ledger), meter.writes
        again = site.start("--json")
        assert (again.exit_code, json.loads(again.stdout)["id"]) == (0, record["id"])
        assert (len(site.ledger), meter.writes) == (lines, writes), "nothing is done twice"


def test_each_step_that_ends_it(site: Any) -> None:
    """One meter, one visit: mended step by step, it goes on from each of them."""

    def stops_at(step: str, verdict: str, **answers: str) -> None:
        done = site.start("--json", **answers)
        found = failed(done)
        assert (found["check"], found["verdict"], done.exit_code) == (step, verdict, 1), found
        assert site.ledger[-1].content["visit"]["verdict"] == "no-go"

    with site.line() as meter:
        site.ready()
        writes = meter.writes
        stops_at("cautions", "no-go", cautions="no")
        site.point(meter=", serial_number: EX-9999")
        stops_at("meter", "no-go")
        site.point(meter="")
        stops_at("meter", "to be decided")
        site.point(bore="54.5")
        stops_at("settings", "no-go")
        site.point(bore="54.5", meter=", serial_number: EX-0042, owner: customer")
        stops_at("settings", "to be decided")
        site.point(pressure=700)
        stops_at("room", "no-go", **{"return": site.soon(3600)})
        stops_at("room", "no-go", **{"return": "2026-05-03T14:00"})
        stops_at("room", "no-go", interval="7s")
        stops_at("values", "no-go")
        site.point(pressure=12)
        stops_at("values", "to be decided")
        site.point(expected="1 m3/h to 2 m3/h")
        stops_at("values", "to be decided")
        site.point()
        stops_at("display", "no-go", display="flow 3 m3/h")
        stops_at("display", "no-go", display="flaw 3 m3/h")
        stops_at("recording", "no-go", start="no")
        assert meter.writes == writes, "nothing was written to the meter until now"
        stops_at("log_book", "no-go", photo="not-there.jpg")
        done = site.start()
        assert done.exit_code == 0, done.output


@pytest.mark.parametrize(
    ("step", "changed"),
    [
        ("point", {}),
        ("supply", {"mode": "supply low"}),
        ("recording", {"write": ""}),
    ],
)
def test_what_the_map_says_ends_it_too(site: Any, step: str, changed: dict[str, Any]) -> None:
    with_range = (
        "  velocity: {input: 6, type: float32, unit: m/s, quantity: velocity, range: [0, 1]}\nsettings:"
    )
    site.map(**changed)
    if step == "point":
        site.text = site.text.replace("settings:", with_range, 1)
        (site.folder / "map.yaml").write_text(site.text, encoding="utf-8")
    with site.line():
        site.ready()
        assert failed(site.start("--json"))["check"] == step


def test_without_a_port_it_ends_with_status_3(site: Any) -> None:
    done = site.run("start", "--json", display="flow 1 m3/h")
    assert (failed(done)["check"], done.exit_code) == ("port", 3)


def test_a_memory_that_cannot_be_fetched_whole_is_left_as_it_is(site: Any) -> None:
    with site.line(faults="refused 4 x* at 3") as meter:
        site.ready()
        writes = meter.writes
        assert failed(site.start("--json"))["check"] == "memory"
        assert meter.writes == writes


@pytest.mark.long
def test_a_clock_that_is_off_is_set_only_where_that_is_answered(site: Any) -> None:
    with site.line(clock_ahead=600.0):
        site.ready()
        found = failed(site.start("--json"))
        assert (found["check"], found["verdict"]) == ("clock", "to be decided")
        assert "600 s ahead of" in found["reason"]
        done = site.start("--json", set_clock="yes")
        assert done.exit_code == 0, done.output
        names = [line.content.get("name") for line in site.ledger if line.kind == "setting"]
        assert names[-2:] == ["clock", "recording"]


@pytest.mark.long
def test_a_full_memory_is_emptied_where_its_serial_number_is_answered(site: Any) -> None:
    with site.line(past=120):
        site.ready()
        assert failed(site.start("--json"))["check"] == "room"
        done = site.start("--json", erase="EX-0042", interval="10s")
        assert done.exit_code == 0, done.output
        names = [line.content.get("name") for line in site.ledger if line.kind == "setting"]
        assert names[-3:] == ["erase", "log_interval", "recording"]


def test_a_customers_meter_is_never_written_to(site: Any) -> None:
    with site.line(recording=True, clock_ahead=600.0) as meter:
        site.ready()
        site.point(meter=", serial_number: EX-0042" + ", owner: customer")
        writes = meter.writes
        done = site.start("--json", accept__clock="the owner knows", set_clock="yes")
        assert done.exit_code == 0, done.output
        assert meter.writes == writes


def test_without_a_terminal_every_answer_that_lacks_is_told(site: Any) -> None:
    done = site.run("start", **dict.fromkeys(("cautions", "return"), ""))
    assert isinstance(done.exception, LackingAnswer)
    assert "the answer cautions lacks" in str(done.exception)
    assert "the answer return lacks" in str(done.exception)


def test_an_answer_that_lacks_later_keeps_what_was_done(site: Any) -> None:
    with site.line():
        site.ready()
        done = site.start("--json", display="")
        assert isinstance(done.exception, LackingAnswer)
        assert "the answer display lacks" in str(done.exception)
        again = site.start()
        assert again.exit_code == 0, again.output
        assert again.stderr.count("   done  ") >= 5
        assert [line.kind for line in site.ledger].count("retrieved") == 1


def test_a_changed_point_file_begins_the_visit_anew(site: Any) -> None:
    with site.line():
        site.ready()
        refused = site.start("--json", display="flow 3 m3/h")
        assert failed(refused)["check"] == "display"
        assert "display 3 m³/h" in refused.stderr
        assert "display 3 m3/h" in failed(refused)["reason"], "data keep the words of the map"
        site.point(expected="2 m3/h to 600 m3/h")
        done = site.start(cautions="no")
        assert done.exit_code == 1
        assert "it begins anew" in done.stderr
        assert "   done  " not in done.stderr
