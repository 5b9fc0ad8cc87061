"""`visit end` on a simulated meter: safe to dismount, and for each step what keeps it from that."""

import json
from typing import Any

import pytest

from readout.cli.visit_end import STEPS

#: A visit that goes well, beside the display.
ANSWERS = {"cautions": "yes", "removal": "yes", "stop": "yes"}


def begun(site: Any) -> None:
    """Recording was started by a visit."""
    site.ready()
    done = site.start("--json")
    assert done.exit_code == 0, done.output


def ended(site: Any, **changed: str) -> tuple[int, dict[str, Any]]:
    done = site.run("end", "--json", **{**ANSWERS, "display": site.shown(), **changed})
    return done.exit_code, json.loads(done.stdout)


def test_it_ends_in_safe_to_dismount_with_what_is_where(site: Any) -> None:
    """Everything the meter recorded is in a verified archive; the meter is stopped, and keeps its records."""
    with site.line() as meter:
        begun(site)
        status, record = ended(site)
        assert status == 0, record
        assert [one["check"] for one in record["checks"]] == list(STEPS)
        steps = {one["check"]: one for one in record["checks"]}
        assert "does not record any more" in steps["memory"]["reason"]
        assert steps["archive"]["found"]["rows"] == steps["memory"]["found"]["fetched"]["expected"] > 5
        proof = steps["archive"]["found"]["ledger"]
        assert any(proof["hash"] in line for line in record["leave"])
        settings = [line.content["new"] for line in site.ledger if line.kind == "setting"]
        assert settings[-1] == "idle"
        writes = meter.writes
        assert ended(site)[1]["id"] == record["id"]
        assert meter.writes == writes, "nothing is done twice"


def test_each_step_that_keeps_it_from_that(site: Any) -> None:
    """One meter, one visit: mended step by step, it goes on from each of them."""

    def stops_at(step: str, verdict: str, **changed: str) -> None:
        found, record = ended(site, **changed)
        last = record["checks"][-1]
        assert (last["check"], last["verdict"], found) == (step, verdict, 1), record
        assert last["advice"]
        assert site.ledger[-1].content["visit"]["verdict"] == "no-go"

    with site.line():
        begun(site)
    with site.line(recording=True, clock_ahead=7200.0):  # somebody set its clock meanwhile
        stops_at("cautions", "no-go", cautions="no")
        site.point(meter=", serial_number: EX-9999")
        stops_at("meter", "no-go")
        site.point()
        assert site.set("inside_diameter", "60 mm").exit_code == 0
        stops_at("settings", "to be decided")
        accepted = {"accept__settings": "the customer changed it at noon"}
        stops_at("display", "no-go", display="pressure 3 bar(g)", **accepted)
        stops_at("clock", "to be decided", **accepted)
        accepted["accept__clock"] = "seen in the records"
        stops_at("log_book", "no-go", photo="not-there.jpg", **accepted)
        stops_at("removal", "no-go", removal="no", **accepted)
        file = next((site.archive / "rows").rglob("*.parquet"))
        whole = file.read_bytes()
        file.write_bytes(whole[:-100] + bytes(100))
        stops_at("archive", "no-go", **accepted)
        file.write_bytes(whole)
        status, record = ended(site, **accepted)
        assert status == 0, record


def test_without_a_port_it_ends_with_status_3(site: Any) -> None:
    done = site.run("end", "--json", **ANSWERS, display="pressure 7 bar(g)")
    record = json.loads(done.stdout)
    assert (record["checks"][-1]["check"], done.exit_code) == ("port", 3)


@pytest.mark.parametrize("faults", ["refused 4 x* at 3"])
def test_a_memory_that_does_not_come_whole_is_not_dismounted(site: Any, faults: str) -> None:
    with site.line(faults=faults):
        site.ready()
        status, record = ended(site)
        last = record["checks"][-1]
        assert (last["check"], last["verdict"], status) == ("memory", "no-go", 1), record


def test_a_memory_without_a_record_is_not_dismounted(site: Any) -> None:
    with site.line(past=0):
        status, record = ended(site)
    last = record["checks"][-1]
    assert (last["check"], last["verdict"], status) == ("archive", "no-go", 1), record
    assert last["reason"] == "nothing was recorded: the archive has no record of this meter's memory"
