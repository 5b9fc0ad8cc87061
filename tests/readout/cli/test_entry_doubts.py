"""A note or mark for the wrong point, archive or year is in the ledger for good: said when it is made.

The golden archive has rows of one point, compressor-2, the first due at 2026-05-03T00:00:07Z.
"""

import shutil
from pathlib import Path

import pytest

from readout.cli.entry_doubts import doubts
from readout.cli.main import main
from readout.daemon.health.stretches import ms_of

GOLDEN = Path(__file__).parents[2] / "golden" / "archive-2" / "archive"
NOW = ms_of("2026-06-01T00:00:00.000Z")


@pytest.mark.parametrize(
    ("point", "reaches_to", "said"),
    [
        ("compressor-2", "2026-05-03T00:00:08.000Z", None),
        ("compressor-2", "2026-06-01T00:00:30.000Z", None),  # another computer's clock may be ahead a little
        ("compressor-2", "2027-05-03T00:00:08.000Z", "still to come"),
        ("compressor-2", "2025-05-03T00:00:08.000Z", "before the first row of compressor-2"),
        ("compressor-3", "2026-05-03T00:00:08.000Z", "no rows of compressor-3 so far, only of compressor-2"),
    ],
)
def test_what_looks_like_a_slip_of_the_pen(point: str, reaches_to: str, said: str | None) -> None:
    told = doubts(GOLDEN, point, ms_of(reaches_to), NOW)
    assert len(told) == (said is not None)
    assert said is None or said in told[0]


def test_without_an_archive_nothing_is_doubted(tmp_path: Path) -> None:
    """The command says that there is none."""
    assert doubts(tmp_path, "compressor-2", NOW, NOW) == []


def test_mark_and_note_say_it_and_are_made_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Somebody who writes before the first row knows what they do; exit status 0."""
    kept, point = tmp_path / "kept", tmp_path / "point.yaml"
    shutil.copytree(GOLDEN, kept)
    point.write_text(
        "measuring_point: 1\nname: compressor-3\nsite: {name: Hollow Mere bottling hall, time_zone: UTC}\n"
        "meter: {map: map.yaml, unit_address: 1}\nline: {port: /dev/ttyUSB0}\n"
    )
    span = ["--from", "2026-05-03T08:00", "--until", "2026-05-03T09:00"]
    for words in (["mark", str(point), "leak test", *span], ["note", str(point), "probe fitted"]):
        monkeypatch.setattr("sys.argv", ["pipeledger", *words, "--archive", str(kept)])
        with pytest.raises(SystemExit) as ended:
            main()
        told = capsys.readouterr()
        assert ended.value.code == 0, told
        assert "of the ledger" in told.out
        assert "is this right? " in told.err
        assert "no rows of compressor-3" in told.err
