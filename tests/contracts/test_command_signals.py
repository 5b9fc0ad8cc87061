"""What ends a command from outside, and who holds what: Ctrl-C, SIGTERM, a second recorder, a closed pipe."""

import json
import signal
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest


def test_ctrl_c_ends_a_watch_with_130(command: ModuleType, tmp_path: Path) -> None:
    """One JSON document a line until then, and nothing else on stdout."""
    with command.line() as line:
        command.write_point(tmp_path, "header", line.port)
        words = ["read", "header.yaml", "--watch", "--every", "100ms", "--json"]
        with command.running(*words, cwd=tmp_path) as watch:
            command.until(lambda: watch.so_far().out.count("\n") >= 3, what="three readings")
            done = watch.end(signal.SIGINT)
    assert done.status == 130
    documents = [json.loads(text) for text in done.out.splitlines()]
    assert {(one["point"], one["status"]) for one in documents} == {("header", "ok")}
    assert done.err == ""


def test_ctrl_c_ends_a_read_that_waits_for_a_silent_meter(command: ModuleType, tmp_path: Path) -> None:
    with command.line(delivery=command.silent) as line:
        (tmp_path / "map.yaml").write_text(command.MAP.replace("reply_within: 100 ms", "reply_within: 30 s"))
        command.write_point(tmp_path, "header", line.port)
        with command.running("read", "header.yaml", "--json", cwd=tmp_path) as read:
            command.until(lambda: line.stats.requests, what="the request is on the line")
            done = read.end(signal.SIGINT, timeout=2)
    assert (done.status, done.out) == (130, "")


def test_a_watch_waits_for_an_absent_port(command: ModuleType, tmp_path: Path) -> None:
    """It says that the port is not there, and reads when it is."""
    command.write_point(tmp_path, "header", "./port")
    with command.running("read", "header.yaml", "--watch", "--every", "100ms", cwd=tmp_path) as watch:
        command.until(lambda: "port lost" in watch.so_far().out, what="the absence is told")
        with command.line() as line:
            (tmp_path / "port").symlink_to(line.port)
            command.until(lambda: " header ok: " in watch.so_far().out, what="a reading")
        assert watch.end(signal.SIGINT).status == 130


def test_ctrl_c_while_the_program_is_still_loading_ends_it_quietly() -> None:
    """As a finder of modules that is interrupted, at the first import of the commands."""
    interrupted = (
        "import sys\n"
        "class Interrupted:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'readout.cli.main': raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Interrupted())\n"
        "from readout.start import main\n"
        "main()\n"
    )
    done = subprocess.run([sys.executable, "-c", interrupted], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "")


def test_ctrl_c_while_a_database_answers_is_an_interrupt_as_any_other() -> None:
    """A sum over 10^10 rows, which takes minutes; SIGINT comes at 0.3 s and ends it within seconds."""
    endless = (
        "import os, signal, threading\n"
        "from readout.review.asking import asking\n"
        "try:\n"
        "    with asking(threads=1) as session:\n"
        "        threading.Timer(0.3, os.kill, (os.getpid(), signal.SIGINT)).start()\n"
        "        session.sql('SELECT sum(sin(range)) FROM range(10000000000)').fetchall()\n"
        "except KeyboardInterrupt:\n"
        "    print('interrupted')\n"
    )
    done = subprocess.run([sys.executable, "-c", endless], capture_output=True, text=True, timeout=60)
    assert done.stdout == "interrupted\n", done


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_stopped_log_has_sealed_and_is_done(
    command: ModuleType, tmp_path: Path, number: signal.Signals
) -> None:
    with command.line() as line:
        command.write_point(tmp_path, "header", line.port)
        words = ["log", "header.yaml", "--archive", "archive", "--every", "100ms", "--json"]
        with command.running(*words, cwd=tmp_path) as log:
            command.until(lambda: line.stats.requests > 8, what="some rounds")
            done = log.end(number)
    assert done.status == 0, done
    rows = done.json()["points"]["header"]["ok"]
    assert rows >= 3
    (listed,) = command.run("archive", "list", "archive", "--json", cwd=tmp_path).json()
    assert listed["rows"] == rows, "everything is sealed when it has ended"
    assert command.run("archive", "verify", "archive", cwd=tmp_path).status == 0


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_simulated_meter_ends_when_told(
    command: ModuleType, tmp_path: Path, number: signal.Signals
) -> None:
    """And takes its link away."""
    (tmp_path / "map.yaml").write_text(command.MAP)
    with command.running("simulate", "map.yaml", "--link", "port", cwd=tmp_path) as meter:
        command.until(lambda: meter.so_far().out, what="the meter is ready")
        assert meter.so_far().out == "port\n"
        done = meter.end(number)
    assert done.status == 0
    assert not (tmp_path / "port").is_symlink()


def test_one_recorder_an_archive_and_a_line(command: ModuleType, tmp_path: Path) -> None:
    """A second recorder and a second reader are refused with the number of the process that is there."""
    with command.line() as line, command.line() as other:
        command.write_point(tmp_path, "header", line.port)
        command.write_point(tmp_path, "branch", other.port)
        recording = ["log", "header.yaml", "--archive", "archive", "--every", "100ms"]
        with command.running(*recording, cwd=tmp_path) as log:
            command.until(lambda: line.stats.requests > 4, what="the first recorder is at work")
            refused = {
                "archive": ["log", "branch.yaml", "--archive", "archive", "--for", "1s"],
                "seal": ["archive", "seal", "archive", "--json"],
                "port": ["read", "header.yaml", "--json"],
                "port, log": ["log", "header.yaml", "--archive", "second", "--for", "1s"],
            }
            for what, words in refused.items():
                done = command.run(*words, cwd=tmp_path)
                assert done.status == 3, (what, done)
                assert str(log.pid) in done.err, (what, done)
            for words in (["archive", "list", "archive"], ["archive", "verify", "archive"]):
                assert command.run(*words, cwd=tmp_path).status == 0, "reading beside a recorder is allowed"
            assert log.end(signal.SIGTERM).status == 0
        assert command.run(*recording[:-2], "--every", "100ms", "--for", "200ms", cwd=tmp_path).status == 0


def test_a_reader_that_has_gone_is_no_fault(command: ModuleType, tmp_path: Path) -> None:
    """As with `| head -1`."""
    (tmp_path / "map.yaml").write_text(command.MAP)
    words = [str(command.PROGRAM), "map", "show", "map.yaml"]
    with subprocess.Popen(words, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as shown:
        assert shown.stdout is not None
        assert shown.stderr is not None
        shown.stdout.close()
        assert b"Traceback" not in shown.stderr.read()
        assert shown.wait(60) == 0
