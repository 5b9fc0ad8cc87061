"""`service`: what it prints is a unit for these points and this archive; nothing is changed."""

from pathlib import Path
from types import ModuleType


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
