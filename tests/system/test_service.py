"""`service`: what it prints is a unit for these points and this archive; nothing is changed."""

import re
import subprocess
from collections.abc import Iterable
from pathlib import Path
from types import ModuleType

import pytest

from readout.cli.main import main


def test_the_unit_is_printed_with_whole_paths(command: ModuleType, tmp_path: Path) -> None:
    """By itself it writes no file, and says what to do next."""
    command.write_point(tmp_path, "header", "/dev/pipeledger-header")
    done = command.run("service", "header.yaml", "--archive", "kept", "--user", "recorder", cwd=tmp_path)
    assert done.status == 0, done
    assert f" log {tmp_path}/header.yaml --archive {tmp_path}/kept\n" in done.out
    assert "User=recorder\nSupplementaryGroups=dialout\n" in done.out
    assert "IPAddressDeny=any" in done.out
    assert "systemctl enable --now pipeledger-kept.service" in done.err
    assert not (tmp_path / "kept").exists()


def test_who_calls_it_by_sudo_is_not_root(
    command: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """sudo(8) tells in SUDO_USER who called it; --install is called so."""
    command.write_point(tmp_path, "header", "/dev/pipeledger-header")
    monkeypatch.setenv("SUDO_USER", "recorder")
    done = command.run("service", "header.yaml", "--archive", "kept", cwd=tmp_path)
    assert "\nUser=recorder\n" in done.out


def test_a_point_over_the_network_may_use_it(command: ModuleType, tmp_path: Path) -> None:
    """And only then."""
    command.write_point(tmp_path, "header", "socket://198.51.100.7:4001")
    told = command.run("service", "header.yaml", "--archive", "kept", "--json", cwd=tmp_path).json()
    (file,) = told["files"]
    assert told["installed"] is False
    assert file["file"] == "/etc/systemd/system/pipeledger-kept.service"
    assert "RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6\n" in file["text"]
    assert "IPAddressDeny" not in file["text"]


def test_a_port_that_is_no_adapter_gets_no_rule(command: ModuleType, tmp_path: Path) -> None:
    """Exit status 2, and where adapters are listed."""
    command.write_point(tmp_path, "header", "/dev/ttyS0")
    words = ("service", "header.yaml", "--archive", "kept", "--adapter", "/dev/null")
    done = command.run(*words, cwd=tmp_path)
    assert done.status == 2
    assert "pipeledger ports" in done.err


def test_further_options_of_log_are_taken_into_the_unit(command: ModuleType, tmp_path: Path) -> None:
    """What is shown and told by them may use the network."""
    command.write_point(tmp_path, "header", "/dev/pipeledger-header")
    words = ("service", "header.yaml", "--archive", "kept", "--with")
    done = command.run(*words, "--page=127.0.0.1:8808 --on-change '/opt/tell 5%'", cwd=tmp_path)
    assert done.status == 0, done
    assert f'--archive {tmp_path}/kept --page=127.0.0.1:8808 --on-change "/opt/tell 5%%"\n' in done.out
    assert "RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6\n" in done.out


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ("--pge 1", "No such option: --pge"),
        ("--for 1h", "not for a service"),
        ("--on-change tell", "tell has to be a whole path"),
        ("--page-token token", "token has to be a whole path"),
        ("packing.yaml", "given to `service` itself"),
        ("--archive other", "given to `service` itself"),
        ("--on-change '", "No closing quotation"),
        ("--every fast", "--every fast: not a duration"),
        ("--seal-every 1ms", "--seal-every 1ms is too short"),
        ("--outside-for long", "--outside-for long: not a duration"),
        ("--page 8808", "--page"),
        ("--mqtt-login /etc/login", "--mqtt-login is for --mqtt"),
    ],
)
def test_options_with_which_the_service_would_not_start_are_refused(
    command: ModuleType,
    tmp_path: Path,
    options: str,
    said: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Exit status 2, before anything is printed."""
    point = command.write_point(tmp_path, "header", "/dev/pipeledger-header")
    words = ["pipeledger", "service", str(point), "--archive", str(tmp_path / "kept"), "--with", options]
    monkeypatch.setattr("sys.argv", words)
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert said in told.err


def calls_in(names: Iterable[str]) -> set[str]:
    """System calls by name; sets of them (`@resources`) as this computer's systemd knows them."""
    found: set[str] = set()
    for name in names:
        if name.startswith("@"):
            asked = ["systemd-analyze", "syscall-filter", "--no-pager", name]
            shown = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
            found |= calls_in(re.findall(r"^ +(?!#)(\S+)", shown, re.M))
        else:
            found.add(name)
    return found


def test_a_recorder_runs_with_the_system_calls_that_its_unit_leaves_it(
    command: ModuleType, tmp_path: Path
) -> None:
    """strace(1) does what systemd would: it refuses the others as the unit says, or kills (SIGSYS)."""
    with command.line() as line:
        command.write_point(tmp_path, "header", line.port)
        text = command.run("service", "header.yaml", "--archive", "kept", cwd=tmp_path).out
        filters = re.findall(r"^SystemCallFilter=(~?)(.+)$", text, re.M)
        allowed = calls_in(name for refused, names in filters if not refused for name in names.split())
        refused = calls_in(name for refused, names in filters if refused for name in names.split())
        closed = ",".join(f"?{name}" for name in sorted((calls_in(["@known"]) - allowed) | refused))
        how = "error=EPERM" if "\nSystemCallErrorNumber=EPERM\n" in text else "signal=SIGSYS"
        trace = (
            "strace",
            "-f",
            "--seccomp-bpf",
            "-qq",
            "-e",
            f"trace={closed}",
            "-e",
            f"inject={closed}:{how}",
        )
        words = ("log", "header.yaml", "--archive", "kept", "--every", "200ms", "--for", "600ms", "--json")
        done = command.run(*words, cwd=tmp_path, prefix=(*trace, "-o", "trace"))
    assert done.status == 0, done
    assert done.json()["points"]["header"] == {"ok": 3}
    assert "INJECTED" in (tmp_path / "trace").read_text(), "nothing was refused, so nothing was shown"
