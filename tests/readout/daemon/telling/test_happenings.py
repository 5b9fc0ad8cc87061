"""What happens to a recorder: an adapter that comes and goes, and how it is told."""

import json
from pathlib import Path
from typing import Any

from readout.daemon.telling.happenings import MOST_PORT_CHANGES, Happenings
from simulators.clock import FakeClock
from storage.archive import Archive

HOURS = 3


def events(root: Path) -> list[dict[str, Any]]:
    lines = [json.loads(line) for line in (root / "ledger.jsonl").read_text().splitlines()]
    return [line for line in lines if line["kind"] == "event"]


def test_an_adapter_with_a_loose_plug_floods_neither_log_nor_ledger(tmp_path: Path) -> None:
    """Lost and back every four seconds for three hours; another line's adapter is told of as ever."""
    clock, said = FakeClock(), list[str]()
    happenings = Happenings(clock, said.append)
    loose, firm = happenings.port("/dev/ttyUSB0"), happenings.port("/dev/ttyUSB1")
    for n in range(HOURS * 900):
        loose("port lost", "/dev/ttyUSB0 is gone: unplugged.")
        loose("port back", "/dev/ttyUSB0 is back")
        if n == 2000:
            firm("port lost", "/dev/ttyUSB1 is gone: unplugged.")
        clock.advance(4.0)
    assert said[:2] == [
        "port lost: /dev/ttyUSB0 is gone: unplugged. It is waited for.",
        "port back: /dev/ttyUSB0 is back",
    ]
    assert len(said) == HOURS * MOST_PORT_CHANGES + 1
    assert sum("no more of it is told within this hour" in line for line in said) == HOURS
    assert "port lost: /dev/ttyUSB1 is gone: unplugged. It is waited for." in said
    with Archive.open(tmp_path / "archive", utc=clock.utc) as archive:
        happenings.write(archive)
    assert len(events(tmp_path / "archive")) == len(said)
