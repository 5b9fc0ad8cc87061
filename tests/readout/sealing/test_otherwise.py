"""Rows decoded by one map and recorded by another: told before the two stand side by side."""

import struct
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest
from typer.testing import CliRunner, Result

from protocols.register_map.model import RegisterMap
from readout.cli.archive_redecode import _number
from readout.cli.main import app
from readout.errors import ArchiveError, WrongUse
from readout.sealing.otherwise import Another, by_another_map, decoded_otherwise
from storage.archive import Archive
from storage.ledger import Kind

POINT = """\
measuring_point: 1
name: bottling-hall-header
site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin}
meter: {map: MAP}
line: {port: ./absent}
"""


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("scale: 0.001", "scale: 0.01", "pressure has scale 0.001 there and 0.01 here"),
        ("input: 2", "input: 3", "pressure has register input 2 there and input 3 here"),
        ("type: uint16", "type: uint32", "pressure has type uint16 there and uint32 here"),
        ("unit: m3/h}", "unit: m3/h, word_order: low first}",
         "flow has word_order high first there and low first here"),
        ("unit: bar", "unit: psi", "pressure has unit bar there and psi here"),
        ("[65535]", "[65534]", "pressure has another not_available"),
        ("m3/h}", "m3/h, range: [0, 9]}", None),
        ("header meter", "meter of the header", None),
    ],
)  # fmt: skip
def test_what_two_maps_decode_otherwise(meter: ModuleType, old: str, new: str, said: str | None) -> None:
    before, now = meter.parsed(meter.MAP), meter.parsed(meter.MAP.replace(old, new))
    found = [str(one) for one in decoded_otherwise(before.readings, now.readings)]
    assert found == ([] if said is None else [said])


def another(root: Path, point: str, source: str, at_hand: RegisterMap) -> Another | None:
    """Of one point alone."""
    return by_another_map(root, source, {point: at_hand, "elsewhere": at_hand}).get(point)


def test_a_map_is_another_only_after_a_redecoding_or_a_run_with_another(
    meter: ModuleType, root: Path
) -> None:
    old, new = meter.MAP, meter.MAP.replace("scale: 0.001", "scale: 0.01")
    assert another(root, meter.POINT, "live", meter.parsed(old)) is None
    meter.hours(root, 1)
    with Archive.open(root) as archive:
        archive.ledger.append(
            Kind.STARTED, {"points": {meter.POINT: {"map_sha256": meter.parsed(old).sha256}}}
        )
    assert another(root, meter.POINT, "live", meter.parsed(old)) is None
    found = another(root, meter.POINT, "live", meter.parsed(new))
    assert found is not None
    assert (found.redecoded, [one.key for one in found.otherwise]) == (None, ["scale"])
    commented = meter.parsed(old + "# seen on the meter\n")
    assert another(root, meter.POINT, "live", commented) is None, "the same values"


def test_a_redecoding_of_the_memorys_records_is_none_of_the_live_rows(meter: ModuleType, root: Path) -> None:
    """Its file is gone: then only that it was another map can be told."""
    told = {"point": meter.POINT, "source": "memory", "map_sha256": "0" * 64, "files": [], "replaces": []}
    with Archive.open(root) as archive:
        line = archive.ledger.append(Kind.REDECODED, told)
    at_hand = meter.parsed(meter.MAP)
    assert another(root, meter.POINT, "live", at_hand) is None
    found = another(root, meter.POINT, "memory", at_hand)
    assert found is not None
    assert (found.redecoded, found.otherwise) == (line.time, ())


def test_redecode_says_what_is_to_be_done_next_and_log_where_it_was_not(
    meter: ModuleType, root: Path
) -> None:
    """Pressure 7000 as mbar is 7.000 bar; read with 0.01 it is 70.00 bar."""
    folder = root.parent
    (folder / "old.yaml").write_text(meter.MAP)
    (folder / "new.yaml").write_text(meter.MAP.replace("scale: 0.001", "scale: 0.01"))
    for name in ("old", "new"):
        (folder / f"with-{name}.yaml").write_text(POINT.replace("MAP", f"{name}.yaml"))
    about = {"site": "Hollow Mere bottling hall", "map_file": "old.yaml"}
    meter.hours(root, 1, what=replace(meter.record(), point=about))
    done = run("archive", "redecode", root, "--map", folder / "new.yaml", "--yes")
    shown = [line.split() for line in done.stdout.splitlines() if "→" in line]
    assert [line[1] for line in shown] == ["pressure"] * 3, "only what changes"
    assert shown[0][2:] == ["7", "→", "70"]
    assert "stay as they are: flow" in done.stdout
    assert "named old.yaml when these rows were measured: name" in done.stderr
    for point, warns in (("with-old.yaml", True), ("with-new.yaml", False)):
        ended = run("log", folder / point, "--archive", root, "--page", "nonsense")  # opens nothing
        assert isinstance(ended.exception, WrongUse)
        assert ("pressure has scale 0.01 there and 0.001 here" in ended.stderr) is warns


def test_beside_a_recorder_redecode_says_that_one_is_running(meter: ModuleType, root: Path) -> None:
    map_file = root.parent / "new.yaml"
    map_file.write_text(meter.MAP)
    with Archive.open(root) as archive:
        meter.fill(archive, meter.record(), [meter.MIDNIGHT], lambda i: meter.words_of(i, 7000))
        beside = run("archive", "redecode", root, "--map", map_file)
    assert isinstance(beside.exception, ArchiveError)
    assert "is being written by process" in str(beside.exception)
    killed = run("archive", "redecode", root, "--map", map_file)
    assert f"archive seal {root}` seals them first" in str(killed.exception)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (1345737.7, "1345737.7"),
        (1345737.5, "1345737.5"),
        (struct.unpack(">f", b"\x3d\xcc\xcc\xcd")[0], "0.1"),
    ],
)
def test_a_total_keeps_its_last_digit(value: float, shown: str) -> None:
    """IEEE 754: 3DCC CCCD is the single nearest to 0.1, and not 0.10000000149."""
    assert _number(value) == shown
