"""What the page answers, asked over a real socket: who is refused, what a stranger may send, the metrics."""

import http.client
import json
import os
import re
import signal
import socket
import time
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from storage.journal import read_only

#: What the page itself sends with an entry; each test leaves out or changes one thing.
OWN = {"Content_Type": "application/json", "X_Pipeledger": "page"}
ENTRY = json.dumps({"point": "header", "text": "probe cleaned"})
OPENMETRICS = "application/openmetrics-text; version=1.0.0"


def notes(archive: Path) -> list[str]:
    ledger = archive / "ledger.jsonl"
    lines = [json.loads(line) for line in ledger.read_text("utf-8").splitlines()] if ledger.exists() else []
    return [line["text"] for line in lines if line["kind"] == "note"]


def test_who_is_refused_and_who_is_not(record: Any) -> None:
    """A foreign Host header (a name that its owner pointed here), posts from another site, other methods."""
    with record() as recording:
        own = {**OWN, "Origin": f"http://127.0.0.1:{recording.port}"}
        assert recording.ask("GET", "/", Host="rebound.example")[0] == 421
        assert recording.ask("GET", "/metrics", Host=f"rebound.example:{recording.port}")[0] == 421
        assert recording.ask("GET", "/", Host="localhost:9999")[0] == 200, "through a tunnel"
        refused = [
            {**own, "Origin": "http://elsewhere.example"},
            {**own, "Origin": "null"},
            {
                **own,
                "Origin": f"http://localhost:{recording.port}",
            },  # another origin, though the same computer
            {name: text for name, text in own.items() if name != "Origin"},
            {name: text for name, text in own.items() if name != "X_Pipeledger"},
            {**own, "Content_Type": "text/plain"},
            {**own, "Sec_Fetch_Site": "cross-site"},
        ]
        for headers in refused:
            assert recording.ask("POST", "/entry", ENTRY, **headers)[0] == 403, headers
        for method in ("PUT", "DELETE", "OPTIONS"):
            assert recording.ask(method, "/entry", ENTRY, **own)[0] == 405
        assert notes(recording.archive) == []
        status, headers, body = recording.ask("POST", "/entry", ENTRY, **own)
        assert (status, json.loads(body)["kept"]) == (201, "in the ledger")
        assert notes(recording.archive) == ["probe cleaned"]
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert "access-control-allow-origin" not in headers


@pytest.mark.parametrize(
    "body",
    [
        "", "no JSON", "[]", "null", "[" * 30_000, '{"point": "header"}', '{"point": "header", "text": "  "}',
        '{"point": "other", "text": "x"}', '{"point": ["header"], "text": "x"}',
        '{"point": "header", "text": 7}', json.dumps({"point": "header", "text": "x" * 4001}),
        '{"point": "header", "text": "\\ud800"}', json.dumps({"point": "header", "text": "x" * 100_000}),
    ],
)  # fmt: skip
def test_what_is_no_entry_is_refused_with_a_sentence(shared: Any, body: str) -> None:
    """Nothing of it reaches the ledger, and the page goes on."""
    own = {**OWN, "Origin": f"http://127.0.0.1:{shared.port}"}
    status, _, answer = shared.ask("POST", "/entry", body, **own)
    assert status == 400
    assert json.loads(answer)["fault"].endswith(".")
    assert notes(shared.archive) == []


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/chart", 404), ("/chart?point=header&reading=flow&span=1y", 404),
        ("/chart?point=../header&reading=flow&span=15min", 404), ("/page.html/../../pyproject.toml", 404),
        ("/%00", 404), ("/chart?point=header&reading=flow&span=6h", 200), ("/page.js", 200),
        ("/drawing.js", 406),
    ],
)  # fmt: skip
def test_what_is_not_there_is_said_so(shared: Any, path: str, status: int) -> None:
    assert shared.ask("GET", path)[0] == status


def test_without_the_token_nothing_is_told(record: Any, tmp_path: Path) -> None:
    """Neither page nor figures nor entries; a monitor sends it as RFC 6750 has it, a browser gets a pass."""
    token = "f00dface-hollow-mere"
    (tmp_path / "token").write_text(token + "\n", "utf-8")
    with record("--page-token", "token", page="0.0.0.0:0") as recording:
        own = {**OWN, "Origin": f"http://127.0.0.1:{recording.port}"}
        for path in (
            "/metrics",
            "/news",
            "/chart?point=header&reading=flow&span=6h",
            "/page.js",
            "/drawing.js",
        ):
            assert recording.ask("GET", path)[0] == 401
            assert recording.ask("GET", path, Authorization="Bearer wrong")[0] == 401
            assert recording.ask("GET", path, Cookie=f"pipeledger-page={token}")[0] == 401
        status, _, body = recording.ask("GET", "/")
        assert status == 401
        assert b"Hollow Mere" not in body
        assert recording.ask("POST", "/entry", ENTRY, **own)[0] == 401
        assert recording.ask("POST", "/token", '{"token": "wrong"}', **own)[0] == 403
        assert recording.ask("GET", "/metrics", Authorization=f"Bearer {token}")[0] == 200
        status, headers, _ = recording.ask("POST", "/token", json.dumps({"token": token}), **own)
        kept = headers["set-cookie"]
        assert token not in kept
        assert {"HttpOnly", "SameSite=strict"} <= set(kept.split("; "))
        assert recording.ask("GET", "/metrics", Cookie=kept.partition(";")[0])[0] == 200
        assert recording.ask("POST", "/entry", ENTRY, Cookie=kept.partition(";")[0])[0] == 403, (
            "no other site"
        )


def samples(text: bytes) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    """What prometheus-client's own parser of OpenMetrics reads: (name, labels) → value."""
    families = text_string_to_metric_families(text.decode())
    return {(s.name, tuple(sorted(s.labels.items()))): s.value for f in families for s in f.samples}


def test_the_metrics_agree_with_the_archive_and_with_status(
    record: Any, command: ModuleType, tmp_path: Path
) -> None:
    """Coverage, causes and disk are those of `status --json`; a value that is not available has no sample."""
    with record() as recording:
        covered = ("pipeledger_coverage_ratio", (("point", "header"), ("span", "hour")))

        def found() -> Any:
            status, headers, body = recording.ask("GET", "/metrics", Accept=OPENMETRICS)
            assert (status, headers["content-type"].partition(";")[0]) == (200, OPENMETRICS.partition(";")[0])
            return samples(body)

        rows_ok = ("pipeledger_rows_total", (("point", "header"), ("status", "ok")))
        command.until(lambda: found().get(covered, 0) > 0.5 and rows_ok in found(), what="coverage and rows")
        told = found()
        recording.log.end(signal.SIGTERM)
    standing = command.run("status", "archive", "--json", cwd=tmp_path).json()
    for span, share in standing["points"]["header"]["coverage"].items():
        there = told["pipeledger_coverage_ratio", (("point", "header"), ("span", span))]
        assert there == pytest.approx(share, abs=0.5), "of other moments, seconds apart"
    words = {dict(labels)["word"] for name, labels in told if name == "pipeledger_reading_word"}
    assert words & {"standby", "measuring"}
    assert ("pipeledger_reading", _reading("pressure", "bar(g)")) in told
    rows = told[rows_ok]
    listed = command.run("archive", "list", "archive", "--json", cwd=tmp_path).json()
    assert 0 < rows <= sum(file["rows"] for file in listed)


def _reading(name: str, unit: str) -> tuple[tuple[str, str], ...]:
    return (("point", "header"), ("reading", name), ("reference", ""), ("unit", unit))


def test_what_is_shown_is_in_the_archive_already(record: Any) -> None:
    """The recorder is killed at the moment the page tells of a row: whoever opens the archive has it."""
    with record(every="100ms") as recording:
        connection = http.client.HTTPConnection("127.0.0.1", recording.port, timeout=30)
        connection.request("GET", "/news")
        stream = connection.getresponse()
        last = 0
        while last < 20:
            line = stream.readline()
            if line.startswith(b"data: "):
                for point in json.loads(line[6:]).get("points", []):
                    last = point["last"]["sequence"] if point["last"] else 0
        recording.log.process.kill()
        recording.log.process.wait()
        stream.close()
        connection.close()
    journal = read_only(recording.archive / "journal/journal.sqlite")
    assert journal is not None
    try:
        assert [row.sequence for row in journal.rows("header", "live", last, last)] == [last]
    finally:
        journal.close()


def test_slow_and_silent_readers_hold_nothing_up(record: Any, command: ModuleType) -> None:
    """Forty open the stream and never read, one never ends its request: the page answers, rounds go on."""
    with record() as recording:
        idle = []
        for _ in range(40):
            one = socket.create_connection(("127.0.0.1", recording.port))
            one.sendall(b"GET /news HTTP/1.1\r\nHost: localhost\r\n\r\n")
            idle.append(one)
        half = socket.create_connection(("127.0.0.1", recording.port))
        half.sendall(b"POST /entry HTTP/1.1\r\nHost: localhost\r\nContent-Length: 10\r\n")
        requests = recording.line.stats.requests
        command.until(lambda: recording.line.stats.requests > requests + 10, what="rounds")
        began = time.monotonic()
        assert recording.ask("GET", "/metrics")[0] == 200
        assert time.monotonic() - began < 20
        done = recording.log.end(signal.SIGTERM)
        for one in (*idle, half):
            one.close()
    assert done.status == 0, done
    assert "header: " in done.out + done.err


def test_an_address_that_is_taken_is_refused_before_anything_is_recorded(
    record: Any, command: ModuleType, tmp_path: Path
) -> None:
    """Exit status 3, and what to try."""
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        command.write_point(tmp_path, "header", "./port")
        words = ("log", "header.yaml", "--archive", "archive", "--page", f"127.0.0.1:{port}")
        done = command.run(*words, cwd=tmp_path)
    assert done.status == 3, done
    assert f"127.0.0.1:{port}" in done.err
    assert "Take another port" in done.err
    assert not (tmp_path / "archive").exists()


def test_a_page_whose_process_is_killed_comes_back_and_no_round_is_missed(
    record: Any, command: ModuleType, tmp_path: Path
) -> None:
    """The recorder tells it, and goes on; every due time has its row."""
    with record() as recording:
        command.until(lambda: recording.ask("GET", "/")[0] == 200, what="the page")
        children = command.run("status", "archive", "--json", cwd=tmp_path).json()["recorder"]["pid"]
        (process,) = [
            int(folder.name)
            for folder in Path("/proc").glob("[0-9]*")
            if _parent(folder) == children and b"outlet.process" in _words(folder)
        ]
        weight = [os.getpriority(os.PRIO_PROCESS, one) for one in (children, process)]
        assert weight[1] > weight[0], "where both want the processor the recorder goes first"
        os.kill(process, signal.SIGKILL)
        again = command.until(
            lambda: re.findall(r"page: http://\S+?:(\d+)/", recording.log.so_far().err)[1:],
            what="it is started again",
        )
        assert _answers(int(again[0]))
        done = recording.log.end(signal.SIGTERM)
    assert "the page's process has ended" in done.err
    assert done.status == 0, done
    told = command.run("status", "archive", "--json", cwd=tmp_path).json()["points"]["header"]
    assert told["missing"].get("no row although the recorder ran", 0) == 0


def _answers(port: int) -> bool:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    try:
        connection.request("GET", "/")
        return connection.getresponse().status == 200
    finally:
        connection.close()


def _parent(folder: Path) -> int | None:
    try:
        return int((folder / "stat").read_text().rpartition(")")[2].split()[1])
    except (OSError, ValueError):
        return None


def _words(folder: Path) -> bytes:
    try:
        return (folder / "cmdline").read_bytes()
    except OSError:
        return b""
