"""The command writes the page, and with a browser its PDF and figures; without one it says so."""

import json
import subprocess
from pathlib import Path

import pytest
from typer.testing import CliRunner

from readout.cli.main import app
from readout.errors import FellShort, WrongUse
from readout.report import browser


def _run(*words: object) -> tuple[int, str]:
    done = CliRunner().invoke(app, ["report", *map(str, words)])
    return done.exit_code, done.stdout


def test_the_page_is_written_whole(filled: Path, tmp_path: Path) -> None:
    to = tmp_path / "audit.html"
    text = tmp_path / "findings.md"
    text.write_text("# What we found\n\n- a valve that never closed\n", encoding="utf-8")
    status, out = _run(filled, "--to", to, "--text", text, "--title", "Header audit", "--json")
    assert status == 0
    assert json.loads(out)["written"] == [str(to)]
    page = to.read_text(encoding="utf-8")
    assert "a valve that never closed" in page
    assert "<title>Header audit</title>" in page
    assert page.rstrip().endswith("</html>")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["audit.html", "findings.md"]


def test_nothing_is_written_of_a_span_without_rows(filled: Path, tmp_path: Path) -> None:
    to = tmp_path / "audit.html"
    assert _run(filled, "--to", to, "--from", "2027-01-01")[0] == 1
    assert not to.exists()


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--to", "audit.pdf"), "the page is HTML"),
        (("--to", "a.html", "--lang", "fr"), "write one of en, de"),
        (("--to", "nowhere/a.html"), "there is no folder nowhere"),
        (("--to", "a.html", "--text", "nothing.md"), "cannot be read (No such file or directory)"),
    ],
)
def test_a_wrong_option_is_told_before_any_work(
    filled: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, options: tuple[str, ...], told: str
) -> None:
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(app, ["report", str(filled), *options])
    assert isinstance(done.exception, WrongUse)
    assert told in str(done.exception)
    assert list(tmp_path.iterdir()) == []


def test_findings_that_are_no_utf_8_and_a_folder_that_is_a_file(filled: Path, tmp_path: Path) -> None:
    text = tmp_path / "findings.md"
    text.write_bytes("Größe".encode("latin-1"))
    with pytest.raises(WrongUse, match=r"is no UTF-8 text \(byte 2\)"):
        CliRunner().invoke(
            app,
            ["report", str(filled), "--to", str(tmp_path / "a.html"), "--text", str(text)],
            catch_exceptions=False,
        )
    with pytest.raises(WrongUse, match="no such folder can be made"):
        browser.save_figures("", text)


def test_a_computer_without_a_browser_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    with pytest.raises(FellShort, match="no Chromium is on this computer"):
        browser.browser()


def test_paper_and_figures_come_from_the_browser(
    filled: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A stand-in that keeps to Chromium's options: what it prints and draws is what is kept."""
    stand_in = tmp_path / "bin" / "chromium"
    stand_in.parent.mkdir()
    stand_in.write_text(
        "#!/bin/sh\n"
        'for word in "$@"; do\n'
        'case "$word" in --print-to-pdf=*) printf "%%PDF-1.4" > "${word#*=}";; esac; done\n'
        'echo \'<data data-figure="0-time-flow.png" value="data:image/png;base64,iVBORw=="></data>\'\n',
        encoding="utf-8",
    )
    stand_in.chmod(0o755)
    monkeypatch.setenv("PATH", str(stand_in.parent))
    to = tmp_path / "audit.html"
    status, _ = _run(filled, "--to", to, "--pdf", "--figures", tmp_path / "figures")
    assert status == 0
    assert to.with_suffix(".pdf").read_bytes() == b"%PDF-1.4"
    assert (tmp_path / "figures" / "0-time-flow.png").read_bytes() == b"\x89PNG"[:4]


def test_a_browser_that_fails_is_told_and_the_page_stays(
    filled: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> subprocess.CompletedProcess[bytes]:
        return subprocess.CompletedProcess([], 1, b"", b"")

    monkeypatch.setattr(browser, "browser", lambda: "chromium")
    monkeypatch.setattr(subprocess, "run", broken)
    to = tmp_path / "audit.html"
    done = CliRunner().invoke(app, ["report", str(filled), "--to", str(to), "--pdf"])
    assert done.exit_code != 0
    assert to.is_file()
