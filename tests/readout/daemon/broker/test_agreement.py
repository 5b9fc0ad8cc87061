"""Page, broker, `status --json` and the archive tell the same of one running recording."""

import re
import signal
import urllib.request
from collections import Counter
from datetime import datetime
from pathlib import Path
from types import ModuleType
from typing import Any

import pyarrow.dataset as ds
import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from simulators.line.pace import faithful

#: What one round more or less makes of a coverage, at most: there are 50 and more.
A_ROUND = 0.02

Samples = dict[tuple[str, tuple[str, ...]], float]


def metrics(port: int) -> Samples:
    """What prometheus-client's own parser of OpenMetrics reads: by name and the labels' values by name."""
    asked = urllib.request.Request(
        f"http://127.0.0.1:{port}/metrics", headers={"Accept": "application/openmetrics-text; version=1.0.0"}
    )
    with urllib.request.urlopen(asked, timeout=30) as answer:
        families = list(text_string_to_metric_families(answer.read().decode()))
    return {
        (sample.name, tuple(text for _, text in sorted(sample.labels.items()))): sample.value
        for family in families
        for sample in family.samples
    }


def ms(time: str) -> int:
    return round(datetime.fromisoformat(time).timestamp() * 1000)


def of_header(found: Samples, name: str) -> dict[str, float]:
    """One of the points' figures by its other label (the first of them)."""
    return {
        next(text for text in labels if text != "header"): value
        for (sample, labels), value in found.items()
        if sample == name
    }


def last_row_ms(found: Samples) -> int:
    return round(1000 * found["pipeledger_last_row_timestamp_seconds", ("header",)])


def test_page_broker_status_and_archive_agree(
    publish: Any, mosquitto: Any, listen: Any, command: ModuleType, tmp_path: Path
) -> None:
    """After rounds that the meter refused, so that no figure is trivial.

    What changes meanwhile is held between an asking of `status` before and one after.
    """
    broken = False

    def delivery(request: bytes, reply: bytes | None) -> Any:
        return (command.refusing if broken else faithful)(request, reply)

    broker = mosquitto()
    broker.start()
    url = f"mqtt://127.0.0.1:{broker.port}"
    with listen(broker.port) as heard, publish(url, "--page", "127.0.0.1:0", delivery=delivery) as log:
        said = command.until(lambda: re.search(r"page: http://\S+?:(\d+)/", log.so_far().err), what="a page")
        port = int(said[1])
        command.until(lambda: len(heard.of("/row")) > 5, what="rows")
        broken = True
        command.until(
            lambda: sum(row["status"] != "ok" for row in heard.of("/row")) > 10, what="rounds without values"
        )
        broken = False
        command.until(lambda: heard.of("/row")[-1]["status"] == "ok", what="it is back")
        before = command.run("status", "archive", "--json", cwd=tmp_path).json()
        began = ms(before["points"]["header"]["last"])
        asked = ("pipeledger_status_asked_timestamp_seconds", ())
        found = command.until(
            lambda: shown if 1000 * (shown := metrics(port)).get(asked, 0) > began + 1000 else None,
            timeout=60, what="the page has asked after that",
        )  # fmt: skip
        after = command.run("status", "archive", "--json", cwd=tmp_path).json()
        shown_ms = last_row_ms(found)
        command.until(lambda: ms(heard.of("/row")[-1]["due"]) >= shown_ms, what="that row at the broker")
        log.end(signal.SIGTERM)

    first, second = before["points"]["header"], after["points"]["header"]
    check_status(found, first, second)
    published = {ms(row["due"]): row for row in heard.of("/row")}
    check_values(found, published[shown_ms]["readings"])
    state = of_header(found, "pipeledger_status")
    assert [status for status, value in state.items() if value == 1] == [published[shown_ms]["status"]]
    rows = ds.dataset(tmp_path / "archive/rows", partitioning="hive").to_table().to_pylist()
    archived = {round(row["due"].timestamp() * 1000): row for row in rows}
    counted = Counter(row["status"] for due, row in archived.items() if due <= shown_ms)
    assert of_header(found, "pipeledger_rows_total") == counted
    assert {due: row["status"] for due, row in published.items()}.items() <= {
        due: row["status"] for due, row in archived.items()
    }.items()
    assert archived[ms(second["last"])]["status"] == second["status"]


def check_status(found: Samples, first: dict[str, Any], second: dict[str, Any]) -> None:
    """The page's figures lie between those of `status` before and after."""
    assert ms(first["last"]) <= last_row_ms(found) <= ms(second["last"])
    coverage = of_header(found, "pipeledger_coverage_ratio")
    assert set(coverage) == {"start", "hour", "day"}
    for span, share in coverage.items():
        low, high = sorted((first["coverage"][span], second["coverage"][span]))
        assert 0.05 < low <= high < 0.995, "the refused rounds are in it"
        assert low - A_ROUND <= share <= high + A_ROUND, span
    missing = of_header(found, "pipeledger_missing_rounds")
    assert set(first["missing"]) <= set(missing) <= set(second["missing"])
    for cause, rounds in missing.items():
        assert first["missing"].get(cause, 0) <= rounds <= second["missing"][cause], cause
    assert missing["exception"] > 5
    assert found["pipeledger_late_replies", ("header",)] == second["late_replies"]
    worst = found["pipeledger_worst_reply_seconds", ("header",)] * 1000
    assert first["worst_reply_ms"] <= round(worst) <= second["worst_reply_ms"]
    assert found["pipeledger_interval_seconds", ("header",)] == second["interval_s"] == 0.2


def check_values(found: Samples, readings: dict[str, Any]) -> None:
    """Each reading of the broker's message of that row is the page's, as number or as word."""
    numbers = {labels[1]: value for (name, labels), value in found.items() if name == "pipeledger_reading"}
    words = {labels[1]: labels[2] for (name, labels) in found if name == "pipeledger_reading_word"}
    for name, reading in readings.items():
        value = reading["value"]
        if isinstance(value, str):
            assert words[name] == value
        elif isinstance(value, int | float):
            assert numbers[name] == pytest.approx(value, rel=1e-12)
            assert (
                "pipeledger_reading",
                ("header", name, reading.get("reference", ""), reading["unit"]),
            ) in found
        else:
            assert name not in numbers
    assert set(numbers) >= {"flow", "pressure", "total"}
