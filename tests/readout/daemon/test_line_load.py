"""Whether all points of a line fit is told before the first round: by the characters on the wire alone.

A character of 8N1 is ten bits (Modbus over serial line V1.02, 2.5.1), a read of two registers 8 characters,
its reply 9, and 3.5 characters of silence belong to each frame (2.5.1.1).
"""

from pathlib import Path

import pytest

from readout.daemon.line_load import overloaded
from readout.daemon.points import PointToRecord, load_points

CHARACTER_S = 10 / 9600
READ_S = (8 + 3.5 + 9 + 3.5) * CHARACTER_S


def points(folder: Path, count: int, reads: int, every: str = "1 s") -> tuple[PointToRecord, ...]:
    """Points at 9600 8N1 on one port, each of so many registers far apart."""
    (folder / "map.yaml").write_text(
        "register_map: 1\nmeter: scattered\nserial: {baud_rate: 9600, parity: none, stop_bits: 1}\n"
        "readings:\n"
        + "".join(f"  v{n}: {{input: {100 * n}, type: float32, unit: degC}}\n" for n in range(reads))
    )
    files = [folder / f"p{n}.yaml" for n in range(1, count + 1)]
    for n, file in enumerate(files, 1):
        file.write_text(
            f"measuring_point: 1\nname: p{n}\nsite: {{name: Hollow Mere bottling hall, time_zone: UTC}}\n"
            f"meter: {{map: map.yaml, unit_address: {n}}}\nline: {{port: ./port}}\n"
            f"record: {{every: {every}}}\n"
        )
    return load_points(files, None)


def test_eight_points_of_six_reads_do_not_fit_into_a_second(tmp_path: Path) -> None:
    """48 reads take more than a second even if every meter answers at once; every 2 s they fit."""
    assert 48 * READ_S > 1
    (told,) = overloaded(points(tmp_path, 8, 6))
    assert "9600 8N1" in told
    assert "its 8 points" in told
    assert "`skipped`" in told
    assert "read every 2 s" in told
    assert not [*overloaded(points(tmp_path, 8, 6, "2 s"))]


def test_a_point_alone_can_be_too_much_for_its_line(tmp_path: Path) -> None:
    """Six reads take at least 150 ms, so a row every 100 ms has no time; one read does."""
    assert 6 * READ_S >= 0.15
    (told,) = overloaded(points(tmp_path, 1, 6, "100 ms"))
    assert "the rounds of p1" in told
    assert "read every 0.5 s" in told
    assert not [*overloaded(points(tmp_path, 1, 1, "100 ms"))]


@pytest.mark.parametrize(("every", "share"), [("1 s", 1), ("100 ms", 10)])
def test_the_share_that_is_not_asked_follows_from_the_wire(every: str, share: int, tmp_path: Path) -> None:
    """Of a line asked for n times its time, 1 - 1/n stays unasked; n is at least what the characters take."""
    (told,) = overloaded(points(tmp_path, 8, 6, every))
    unasked = int(told.partition("about ")[2].partition("%")[0])
    assert 100 * (1 - 1 / (48 * READ_S * share)) - 1 <= unasked < 100
