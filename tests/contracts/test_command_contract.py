"""Exit status and manners of every command, by one table.

0 done · 1 fell short · 2 wrong use or file · 3 port or archive not to be had · 4 replies came, none could be
trusted. A refusal is a sentence on stderr, stdout stays empty, and nothing ever ends in a traceback.
"""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from types import ModuleType

import pytest

#: Another program that holds a port until it is ended.
HOLD = """
import serial, sys
port = serial.Serial(sys.argv[1], exclusive=True)
print(1, flush=True)
sys.stdin.read()
"""
#: For the administrator, whom no permission stops: the same user without the right to pass them by.
WITHOUT_OVERRIDE = ["setpriv", "--bounding-set=-dac_override,-dac_read_search"]


@pytest.fixture(scope="module")
def folder(command: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Files good and bad, lines good and bad, an archive, a damaged archive, a held and a denied port."""
    folder = tmp_path_factory.mktemp("table")
    with ExitStack() as stack:
        # Only who says nothing is to be given up soon: a busy computer makes others late.
        (folder / "map.yaml").write_text(command.MAP.replace("reply_within: 100 ms", "reply_within: 2 s"))
        (folder / "soon.yaml").write_text(command.MAP)
        for name, delivery in {
            "good": None, "held": None, "denied": None, "silent": command.silent,
            "damaged": command.damaged, "refusing": command.refusing, "half": command.half,
        }.items():  # fmt: skip
            line = stack.enter_context(command.line(delivery=delivery))
            command.write_point(
                folder, name, line.port, map_file="soon.yaml" if name == "silent" else "map.yaml"
            )
            if name == "denied":
                Path(line.port).chmod(0)
            if name == "held":
                words = [sys.executable, "-c", HOLD, line.port]
                holder = stack.enter_context(subprocess.Popen(words, stdin=-1, stdout=-1, text=True))
                stack.callback(holder.kill)
                assert holder.stdout is not None
                assert holder.stdout.readline() == "1\n"
                (folder / "holder").write_text(str(holder.pid))
        command.write_point(folder, "absent", "./no-port")
        command.write_point(folder, "regular", "./map.yaml")
        _bad_files(folder)
        _archives(command, folder)
        yield folder


def _bad_files(folder: Path) -> None:
    good = (folder / "map.yaml").read_text()
    point = (folder / "good.yaml").read_text()
    (folder / "faulty-map.yaml").write_text(good.replace("float32", "float23"))
    (folder / "warned-map.yaml").write_text(good.replace("fluid: water", "fluid: compressed air"))
    (folder / "faulty.yaml").write_text(point.replace("site:", "sight:"))
    (folder / "on-faulty-map.yaml").write_text(point.replace("map.yaml", "faulty-map.yaml"))
    (folder / "unit-0.yaml").write_text(point.replace("unit_address: 12", "unit_address: 0"))
    (folder / "unit-300.yaml").write_text(point.replace("unit_address: 12", "unit_address: 300"))
    (folder / "latin.yaml").write_bytes(b"meter: M\xe9re\n")
    (folder / "binary.yaml").write_bytes(bytes(range(256)) * 8)
    (folder / "empty.yaml").write_bytes(b"")
    (folder / "a-folder").mkdir()
    (folder / "full-folder").mkdir()
    (folder / "full-folder" / "thesis.txt").write_text("not ours")
    (folder / "locked-folder").mkdir(mode=0o500)


def _archives(command: ModuleType, folder: Path) -> None:
    for name in ("archive", "damaged-archive"):
        done = command.run(
            "log", "good.yaml", "--archive", name, "--every", "100ms", "--for", "500ms", cwd=folder
        )
        assert done.status == 0, done
    sealed = next((folder / "damaged-archive" / "rows").rglob("*.parquet"))
    data = bytearray(sealed.read_bytes())
    data[len(data) // 2] ^= 1
    sealed.write_bytes(data)


LOG = ["log", "good.yaml", "--archive", "new"]
SHORT = ["--every", "100ms", "--for", "300ms"]
#: Words of the command, exit status, what stderr must say (of a list: all of it).
TABLE: list[tuple[str, int, str | list[str]]] = [
    # wrong use: nothing was opened
    ("", 2, []),
    ("raed", 2, "raed"),
    ("read", 2, "POINT"),
    ("read good.yaml --jsno", 2, "--jsno"),
    ("read good.yaml --every 5x --watch", 2, ["--every", "5x"]),
    ("read good.yaml good.yaml", 2, "two points are named good"),
    ("read missing.yaml", 2, "missing.yaml"),
    ("read a-folder", 2, "a-folder"),
    ("read binary.yaml", 2, ["binary.yaml:", "UTF-8"]),
    ("read latin.yaml", 2, ["latin.yaml:1:9", "UTF-8"]),
    ("read empty.yaml", 2, "empty.yaml:1:1"),
    ("read faulty.yaml", 2, ["faulty.yaml:3:1", "sight", "site"]),
    ("read on-faulty-map.yaml", 2, ["faulty-map.yaml:7:", "float23"]),
    ("read unit-0.yaml", 2, ["unit-0.yaml:4:", "0"]),
    ("read unit-300.yaml", 2, ["unit-300.yaml:4:", "300"]),
    ("read good.yaml --trace missing/trace", 2, "missing/trace"),
    ("read good.yaml --trace a-folder", 2, "a-folder"),
    ("log good.yaml", 2, "--archive"),
    ("log good.yaml --archive new --every 10ms", 2, ["10 ms", "100 ms"]),
    ("log good.yaml --archive new --every 0s", 2, "--every"),
    ("log good.yaml --archive new --every 1,5s", 2, ["--every", "1,5s"]),
    ("log good.yaml --archive new --for 500ms", 2, ["--for", "good"]),
    ("log good.yaml --archive new --for soon", 2, ["--for", "soon"]),
    ("log good.yaml --archive new --seal-every 1ms", 2, "--seal-every"),
    ("log missing.yaml --archive new", 2, "missing.yaml"),
    ("map", 2, []),
    ("map check", 2, "FILE"),
    ("map show missing.yaml", 2, "missing.yaml"),
    ("map show faulty-map.yaml", 2, "faulty-map.yaml:7:"),
    ("map show map.yaml --unit-address 300", 2, "--unit-address"),
    ("map show map.yaml --baud 0", 2, "--baud"),
    ("archive", 2, []),
    ("archive list", 2, "DIR"),
    ("archive verify archive --fast", 2, "--fast"),
    ("simulate missing.yaml", 2, "missing.yaml"),
    ("simulate faulty-map.yaml", 2, "faulty-map.yaml:7:"),
    ("simulate map.yaml --link map.yaml", 2, "map.yaml"),
    ("simulate map.yaml --link missing/port", 2, "missing/port"),
    ("simulate map.yaml --tcp here", 2, "HOST:PORT"),
    ("simulate map.yaml --values binary.yaml", 2, "binary.yaml:"),
    ("simulate map.yaml --unit-address 0", 2, "--unit-address"),
    ("demo full-folder", 2, "full-folder"),
    ("demo map.yaml", 2, "map.yaml"),
    ("ports --all", 2, "--all"),
    # done
    ("ports --json", 0, []),
    ("read good.yaml --json", 0, []),
    ("map check map.yaml --json", 0, []),
    ("map show map.yaml --json", 0, []),
    ("archive list archive --json", 0, []),
    ("archive verify archive --json", 0, []),
    ("archive verify archive --quick --json", 0, []),
    ("archive seal archive --json", 0, []),
    # fell short
    ("read silent.yaml --json", 1, "silent: "),
    ("read refusing.yaml --json", 1, ["refusing: ", "02"]),
    ("read half.yaml --json", 1, ["half: ", "02"]),
    ("archive verify damaged-archive --json", 1, []),
    # replies came, and none could be trusted
    ("read damaged.yaml --json", 4, "damaged: "),
    # not to be had: port
    ("read absent.yaml --json", 3, ["absent: ", "no-port"]),
    ("read regular.yaml --json", 3, ["regular: ", "map.yaml is no serial port"]),
    ("read held.yaml --json", 3, ["held: ", "HOLDER"]),
    ("read held.yaml --watch --json", 3, "HOLDER"),
    ("log held.yaml --archive new --every 100ms --for 300ms", 3, "HOLDER"),
    ("read denied.yaml --json", 3, "denied: "),
    ("read denied.yaml --watch --json", 3, "may not be opened"),
    ("log denied.yaml --archive new --every 100ms --for 300ms", 3, "may not be opened"),
    # not to be had: archive
    ("archive list missing --json", 3, "missing holds no archive"),
    ("archive list map.yaml --json", 3, "map.yaml holds no archive"),
    ("archive list a-folder --json", 3, "a-folder holds no archive"),
    ("archive verify missing --json", 3, "missing holds no archive"),
    ("archive verify full-folder --json", 3, "full-folder holds no archive"),
    ("archive seal missing --json", 3, "missing holds no archive"),
    ("archive seal full-folder --json", 3, "full-folder holds no archive"),
    ("log good.yaml --archive map.yaml --every 100ms --for 300ms", 3, "map.yaml"),
    ("log good.yaml --archive full-folder --every 100ms --for 300ms", 3, "full-folder"),
    ("log good.yaml --archive locked-folder/new --every 100ms --for 300ms", 3, "locked-folder"),
    # several causes: 3 before 4 before 1
    ("read good.yaml silent.yaml --json", 1, "silent: "),
    ("read silent.yaml damaged.yaml --json", 4, ["silent: ", "damaged: "]),
    ("read damaged.yaml absent.yaml silent.yaml --json", 3, ["damaged: ", "absent: ", "silent: "]),
]


@pytest.mark.parametrize(
    ("words", "status", "said"), TABLE, ids=[words or "nothing" for words, _, _ in TABLE]
)
def test_status_and_sentence(
    command: ModuleType, folder: Path, words: str, status: int, said: str | list[str]
) -> None:
    """The status as contracted; the reason is told where a person looks, and names what it is about."""
    limited = "denied" in words or "locked" in words
    prefix = WITHOUT_OVERRIDE if limited and os.getuid() == 0 else []
    done = command.run(*words.split(), cwd=folder, prefix=prefix)
    assert done.status == status, done
    for text in [said] if isinstance(said, str) else said:
        assert text.replace("HOLDER", (folder / "holder").read_text()) in done.err, done
    if status in (2, 3) and not words.startswith("read") and words:
        assert done.out == "", "a refusal must leave stdout empty"
    if status == 2:
        assert not (folder / "new").exists(), "wrong use must leave no archive behind"
    if "--json" in words and done.out:
        done.json()


def test_map_check_tells_all_faults_of_all_files(command: ModuleType, folder: Path) -> None:
    """Faults make 2, warnings alone 0; a file that is missing does not hide the faults of the next."""
    done = command.run("map", "check", "missing.yaml", "faulty-map.yaml", "map.yaml", "--json", cwd=folder)
    assert done.status == 2
    assert [(fault["file"], fault["line"]) for fault in done.json()] == [
        ("missing.yaml", 1),
        ("faulty-map.yaml", 7),
    ]
    warned = command.run("map", "check", "warned-map.yaml", "--json", cwd=folder)
    assert {fault["severity"] for fault in warned.json()} == {"warning"}
    assert warned.status == 0


def test_without_json_results_are_on_stdout_and_remarks_on_stderr(command: ModuleType, folder: Path) -> None:
    read = command.run("read", "half.yaml", cwd=folder)
    assert "flow" in read.out
    assert "half: " in read.err
    assert "half: " not in read.out
    log = command.run(*LOG[:3], "logged", *SHORT, cwd=folder)
    assert (log.status, log.out) == (0, "")
    assert "good: 3 rows (3 ok)" in log.err


def test_log_tells_its_result_as_json(command: ModuleType, folder: Path) -> None:
    found = command.run(*LOG[:3], "logged-json", *SHORT, "--json", cwd=folder).json()
    assert found["points"] == {"good": {"ok": 3}}
    assert len(found["files"]) == 1
    last = (folder / "logged-json" / "ledger.jsonl").read_text().splitlines()[-1]
    assert found["ledger"] == {key: json.loads(last)[key] for key in ("n", "hash")}
