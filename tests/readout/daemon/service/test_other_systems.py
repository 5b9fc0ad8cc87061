"""The texts for macOS and Windows, read back by plistlib and ElementTree; and the manual's are these.

Keys and elements: launchd.plist(5), Microsoft's Task Scheduler Schema. No Mac and no Windows has run them.
"""

import json
import plistlib
import re
import shlex
from pathlib import Path, PurePath, PurePosixPath, PureWindowsPath
from types import ModuleType
from xml.etree import ElementTree

import pytest
from typer.testing import CliRunner

from readout.cli import service as service_command
from readout.cli.main import app
from readout.daemon.service.other_systems import launch_daemon, task
from readout.daemon.service.service_unit import Service
from readout.errors import WrongUse

TASKS = {"t": "http://schemas.microsoft.com/windows/2004/02/mit/task"}
MANUAL = Path(__file__).parents[4] / "docs/unattended-windows-macos.md"


def service(program: PurePath, folder: PurePath, user: str = "recorder", archive: str = "archive") -> Service:
    point = folder / "bottling-hall-header.yaml"
    return Service(program, (point,), folder / archive, user, "dialout", network=False)


MAC = service(PurePosixPath("/opt/pipeledger/bin/pipeledger"), PurePosixPath("/opt/hollow-mere"))
WINDOWS = service(
    PureWindowsPath(r"C:\pipeledger\Scripts\pipeledger.exe"), PureWindowsPath(r"C:\hollow-mere")
)


def test_a_mac_starts_it_at_start_up_and_again_after_each_end() -> None:
    told = plistlib.loads(launch_daemon(MAC).encode())
    assert told["Label"] == "local.pipeledger-archive"
    assert told["ProgramArguments"] == [
        "/opt/pipeledger/bin/pipeledger",
        "log",
        "/opt/hollow-mere/bottling-hall-header.yaml",
        "--archive",
        "/opt/hollow-mere/archive",
    ]
    assert told["RunAtLoad"] is told["KeepAlive"] is told["LegacyTimers"] is True
    assert (told["UserName"], told["ProcessType"]) == ("recorder", "Interactive")
    assert told["Umask"] == 23, "027 = 2 × 8 + 7"
    assert told["ExitTimeOut"] >= 60, "launchd's own 20 s are too few for sealing"
    assert told["StandardErrorPath"] == "/opt/hollow-mere/pipeledger-archive.log"


def words(text: str) -> list[str]:
    """A command line of Windows, as words: backslashes are themselves."""
    return [word.strip('"') for word in shlex.split(text, posix=False)]


@pytest.mark.parametrize("folder", [r"C:\hollow-mere", r"C:\Hollow Mere & <Söhne>"])
def test_windows_starts_it_at_start_up_and_again_within_a_minute(folder: str) -> None:
    made = service(PureWindowsPath(r"C:\pipeledger\Scripts\pipeledger.exe"), PureWindowsPath(folder))
    text = task(made)
    assert text.isascii()
    found = ElementTree.fromstring(text)

    def at(path: str) -> str | None:
        return found.findtext("/".join(f"t:{name}" for name in path.split("/")), namespaces=TASKS)

    assert at("Triggers/BootTrigger/Repetition/Interval") == "PT1M"
    assert at("Triggers/BootTrigger/Repetition/Duration") is None, "without an end"
    assert at("Settings/MultipleInstancesPolicy") == "IgnoreNew"
    assert at("Settings/ExecutionTimeLimit") == "PT0S", "the default would end it after three days"
    assert at("Settings/DisallowStartIfOnBatteries") == at("Settings/StopIfGoingOnBatteries") == "false"
    assert at("Settings/Priority") == "4", "the default, 7, is below a program's usual priority"
    assert at("Principals/Principal/UserId") == "S-1-5-19", "well-known: LOCAL SERVICE"
    assert at("Actions/Exec/Command") == r"C:\pipeledger\Scripts\pipeledger.exe"
    assert words(at("Actions/Exec/Arguments") or "") == [
        "log",
        rf"{folder}\bottling-hall-header.yaml",
        "--archive",
        rf"{folder}\archive",
    ]
    principal = found.find("t:Principals/t:Principal", TASKS)
    actions = found.find("t:Actions", TASKS)
    assert principal is not None
    assert actions is not None
    assert principal.get("id") == actions.get("Context")


@pytest.mark.parametrize(("language", "text"), [("xml", task(WINDOWS)), ("plist", launch_daemon(MAC))])
def test_the_manual_shows_what_is_printed(language: str, text: str) -> None:
    blocks = re.findall(rf"^```{language}\n(.*?)^```", MANUAL.read_text(encoding="utf-8"), re.M | re.S)
    assert blocks == [text]


@pytest.mark.parametrize(
    ("system", "file", "next_words"),
    [
        ("darwin", "local.pipeledger-kept.plist", "launchctl bootstrap system /Library/LaunchDaemons/"),
        ("win32", "pipeledger-kept.xml", "schtasks /Create /TN pipeledger-kept /XML pipeledger-kept.xml"),
    ],
)
def test_the_command_prints_it_and_says_what_to_do(
    monkeypatch: pytest.MonkeyPatch,
    command: ModuleType,
    tmp_path: Path,
    system: str,
    file: str,
    next_words: str,
) -> None:
    """With this computer's own paths; what is for Linux alone is refused."""
    monkeypatch.setattr(service_command, "SYSTEM", system)
    point = command.write_point(tmp_path, "header", "COM7")
    words = ["service", str(point), "--archive", str(tmp_path / "kept")]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0, done.output
    assert str(point) in done.stdout
    assert f"save this as {file}" in done.stderr
    assert next_words in done.stderr
    assert "{" not in done.stderr
    (told,) = json.loads(CliRunner().invoke(app, [*words, "--json"]).stdout)["files"]
    assert told["file"] == file
    assert told["text"] == done.stdout
    with pytest.raises(WrongUse, match="for Linux"):
        CliRunner().invoke(app, [*words, "--install"], catch_exceptions=False)
