"""The metrics from a standing and rows that are known: every figure where a monitor looks for it."""

from typing import Any

from prometheus_client.openmetrics.parser import text_string_to_metric_families

from readout.daemon.live.told import Told, ToldReading
from readout.daemon.page.metrics import Metrics

#: What `status --json` tells, in the contracted form; the numbers are invented.
STANDING = {
    "points": {
        "header": {
            "asked": True, "last": "2026-05-04T06:00:00.000Z", "age_s": 1.5, "status": "ok",
            "coverage": {"start": 0.25, "hour": 0.5, "day": 0.75}, "missing": {"no reply": 7, "skipped": 2},
            "worst_reply_ms": 62, "late_replies": 3,
            "requests": {"start": {"sent": 61_300, "failed": {"bad checksum": 412}, "rows": {}}},
        },
        "packing": {
            "asked": True, "last": None, "coverage": {"start": 0.0, "hour": 0.0, "day": 0.0}, "missing": {},
            "worst_reply_ms": None, "late_replies": 0,
            "requests": {"start": {"sent": 0, "failed": {}, "rows": {}}},
        },
    },
    "journal": {"waiting": 31, "log_bytes": 4096},
    "disk": {"free_bytes": 5_000_000_000, "total_bytes": 9_000_000_000, "full_in_s": None},
    "asked_ms": 1_777_874_400_500,
}  # fmt: skip
HOSTILE = 'a "quoted"\nword\\'
ROW = Told(
    "header", 9, 1_777_874_400_000, 1_777_874_400_062, "synchronised", "partial", "",
    (
        ToldReading("flow", 252.94, "m3/h", None, "20 degC, 1 bar"),
        ToldReading("pressure", None, "bar(g)", "not available"),
        ToldReading("count", 7, None, "above range"),
        ToldReading("relay", True, None, None),
        ToldReading("state", ["supply low", HOSTILE], None, None),
        ToldReading("mode", "measuring", None, None),
    ),
)  # fmt: skip


class Board:
    """Stands for the live board."""

    def rows(self) -> tuple[dict[str, Told], dict[tuple[str, str], int]]:
        return {"header": ROW}, {("header", "ok"): 8, ("header", "partial"): 1}

    def facts(self) -> list[Any]:
        return []


class Feed:
    """Stands for the feed, 2.5 s after the row was due."""

    board = Board()

    def now_ms(self) -> int:
        return ROW.due_ms + 2500


class Standing:
    """Stands for what is asked of `status`."""

    def __init__(self, told: Any) -> None:
        self.told = told

    def latest(self) -> Any:
        return self.told


def samples(standing: Any) -> dict[tuple[str, tuple[str, ...]], float]:
    """By name and the labels' values, in the order of the labels' names."""
    text, kind = Metrics(Feed(), Standing(standing)).text("application/openmetrics-text")  # type: ignore[arg-type]  # stand-ins
    assert kind.startswith("application/openmetrics-text")
    found = {}
    for family in text_string_to_metric_families(text.decode()):
        for sample in family.samples:
            labels = tuple(value for _, value in sorted(sample.labels.items()))
            found[sample.name.removeprefix("pipeledger_"), labels] = sample.value
    return found


def test_readings_with_their_units_and_nothing_where_there_is_no_value() -> None:
    found = samples(None)
    readings = {labels: value for (name, labels), value in found.items() if name == "reading"}
    assert readings == {
        ("header", "flow", "20 degC, 1 bar", "m3/h"): 252.94,
        ("header", "count", "", ""): 7,
        ("header", "relay", "", ""): 1,
    }
    assert {labels for name, labels in found if name == "reading_flag"} == {
        ("not available", "header", "pressure"), ("above range", "header", "count"),
    }  # fmt: skip
    assert {labels[2] for name, labels in found if name == "reading_word"} == {
        "supply low",
        HOSTILE,
        "measuring",
    }


def test_rows_age_and_status() -> None:
    found = samples(None)
    assert found["rows_total", ("header", "ok")] == 8
    assert found["rows_total", ("header", "partial")] == 1
    assert found["last_row_age_seconds", ("header",)] == 2.5
    assert found["last_row_timestamp_seconds", ("header",)] == 1_777_874_400
    states = {labels: value for (name, labels), value in found.items() if name == "status"}
    assert [labels[0] for labels, value in states.items() if value] == ["partial"] or [
        labels[1] for labels, value in states.items() if value
    ] == ["partial"]
    assert len(states) == 8, "every status that a row can have"


def test_coverage_causes_and_disk_are_those_of_status_to_the_digit() -> None:
    found = samples(STANDING)
    assert {labels: value for (name, labels), value in found.items() if name == "coverage_ratio"} == {
        ("header", "start"): 0.25, ("header", "hour"): 0.5, ("header", "day"): 0.75,
        ("packing", "start"): 0, ("packing", "hour"): 0, ("packing", "day"): 0,
    }  # fmt: skip
    assert found["missing_rounds", ("no reply", "header")] == 7
    assert found["missing_rounds", ("skipped", "header")] == 2
    assert found["worst_reply_seconds", ("header",)] == 0.062
    assert (found["late_replies", ("header",)], found["late_replies", ("packing",)]) == (3, 0)
    assert (found["requests", ("header",)], found["requests", ("packing",)]) == (61_300, 0)
    assert {labels: value for (name, labels), value in found.items() if name == "failed_requests"} == {
        ("bad checksum", "header"): 412
    }
    assert ("worst_reply_seconds", ("packing",)) not in found
    assert found["waiting_rows", ()] == 31
    assert found["disk_free_bytes", ()] == 5_000_000_000
    assert ("disk_full_in_seconds", ()) not in found, "nothing grows: no number is invented"
    assert found["status_asked_timestamp_seconds", ()] == 1_777_874_400.5


def test_a_point_that_was_taken_out_alarms_nobody() -> None:
    """Its coverage falls for ever: a rule such as `coverage_ratio < 0.95` must not see it."""
    header = STANDING["points"]["header"]
    told = {**STANDING, "points": {"header": header, "old": {**header, "asked": False}}}
    found = samples(told)
    assert ("coverage_ratio", ("header", "hour")) in found
    assert not [labels for _, labels in found if "old" in labels]


def test_an_older_monitor_gets_the_older_text() -> None:
    """Prometheus' own text format 0.0.4, for whoever does not ask for OpenMetrics."""
    text, kind = Metrics(Feed(), Standing(STANDING)).text("text/plain")  # type: ignore[arg-type]  # stand-ins
    assert kind.startswith("text/plain; version=0.0.4")
    assert b"# EOF" not in text
    assert b"pipeledger_rows_total{" in text
