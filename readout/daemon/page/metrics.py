"""Figures for a monitor at `/metrics`: readings, ages, rows, coverage, disk; OpenMetrics or Prometheus' text.

A reading that is not available has no sample: a monitor then sees it end, and no number is invented. Times
and shares are base units (seconds, ratios), as OpenMetrics wants them; readings keep the unit of the archive,
which is a label because it is the meter's.
"""

from collections.abc import Iterator
from importlib.metadata import version
from typing import Any

from prometheus_client import CollectorRegistry
from prometheus_client.core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    InfoMetricFamily,
    Metric,
    StateSetMetricFamily,
)
from prometheus_client.exposition import choose_encoder

from readout.bus.outcome import Status
from readout.daemon.live.feed import Feed
from readout.daemon.live.standing import Standing
from readout.daemon.live.told import Told


class Metrics:
    """Collected anew for each request; nothing is kept between them."""

    def __init__(self, feed: Feed, standing: Standing) -> None:
        self._feed, self._standing = feed, standing
        self._registry = CollectorRegistry(auto_describe=False)
        self._registry.register(self)

    def text(self, accept: str) -> tuple[bytes, str]:
        """The metrics and their content type, in the form that the monitor's Accept header asks for."""
        encoder, kind = choose_encoder(accept)
        return encoder(self._registry), kind

    def collect(self) -> Iterator[Metric]:
        """Every family, also where it has no sample yet."""
        yield InfoMetricFamily("pipeledger", "The recorder's version.", {"version": version("pipeledger")})
        newest, counts = self._feed.board.rows()
        yield from _readings(newest)
        yield from self._rows(newest, counts)
        yield from _points_as_status_tells(self._standing.latest())
        yield from _archive_as_status_tells(self._standing.latest())

    def _rows(self, newest: dict[str, Told], counts: dict[tuple[str, str], int]) -> Iterator[Metric]:
        rows = CounterMetricFamily(
            "pipeledger_rows", "Rows kept since the page began, by status.", labels=["point", "status"]
        )
        for (point, status), count in sorted(counts.items()):
            rows.add_metric([point, status], count)
        yield rows
        due = GaugeMetricFamily(
            "pipeledger_last_row_timestamp_seconds", "When the last row was due.", labels=["point"]
        )
        age = GaugeMetricFamily(
            "pipeledger_last_row_age_seconds", "How long ago the last row was due.", labels=["point"]
        )
        interval = GaugeMetricFamily(
            "pipeledger_interval_seconds", "Time between two rounds.", labels=["point"]
        )
        state = StateSetMetricFamily("pipeledger_status", "Status of the last row.", labels=["point"])
        now = self._feed.now_ms()
        for facts in self._feed.board.facts():
            interval.add_metric([facts.name], facts.every_ms / 1000)
        for point, told in newest.items():
            due.add_metric([point], told.due_ms / 1000)
            age.add_metric([point], max(0, now - told.due_ms) / 1000)
            state.add_metric([point], {status.value: status.value == told.status for status in Status})
        yield from (due, age, interval, state)


def _readings(newest: dict[str, Told]) -> Iterator[Metric]:
    value = GaugeMetricFamily(
        "pipeledger_reading",
        "The last row's value, in the meter's unit; a volume at the reference conditions told.",
        labels=["point", "reading", "unit", "reference"],
    )
    flagged = GaugeMetricFamily(
        "pipeledger_reading_flag",
        "1 for the flag that a reading carries.",
        labels=["point", "reading", "flag"],
    )
    words = GaugeMetricFamily(
        "pipeledger_reading_word", "1 for each word that a code or bits stand for.",
        labels=["point", "reading", "word"],
    )  # fmt: skip
    for point, told in newest.items():
        for reading in told.readings:
            if (number := reading.number) is not None:
                value.add_metric([point, reading.name, reading.unit or "", reading.reference or ""], number)
            elif isinstance(reading.value, bool):
                value.add_metric([point, reading.name, "", ""], float(reading.value))
            elif reading.value is not None:
                listed = reading.value if isinstance(reading.value, list) else [reading.value]
                for word in dict.fromkeys(listed):
                    words.add_metric([point, reading.name, str(word)], 1)
            if reading.flag:
                flagged.add_metric([point, reading.name, reading.flag], 1)
    yield from (value, flagged, words)


def _points_as_status_tells(standing: dict[str, Any] | None) -> Iterator[Metric]:
    coverage = GaugeMetricFamily(
        "pipeledger_coverage_ratio", "Measured share of the time: since the first row, last hour, last day.",
        labels=["point", "span"],
    )  # fmt: skip
    missing = GaugeMetricFamily(
        "pipeledger_missing_rounds", "Rounds without a value since the first row, by cause.",
        labels=["point", "cause"],
    )  # fmt: skip
    worst = GaugeMetricFamily(
        "pipeledger_worst_reply_seconds", "Longest time from due to the end of the reply in the last hour.",
        labels=["point"],
    )  # fmt: skip
    late = GaugeMetricFamily(
        "pipeledger_late_replies", "Replies later than the map allows, up to the last sealing.",
        labels=["point"],
    )  # fmt: skip
    sent = GaugeMetricFamily(
        "pipeledger_requests", "Requests, repeats among them, up to the last sealing.", labels=["point"]
    )
    failed = GaugeMetricFamily(
        "pipeledger_failed_requests", "Requests without a value, made good or not, up to the last sealing.",
        labels=["point", "cause"],
    )  # fmt: skip
    for point, told in ({} if standing is None else standing["points"]).items():
        if not told["asked"]:
            continue  # taken out of the recording: a rule on its coverage would alarm for ever
        sent.add_metric([point], told["requests"]["start"]["sent"])
        for cause, count in told["requests"]["start"]["failed"].items():
            failed.add_metric([point, cause], count)
        late.add_metric([point], told["late_replies"])
        for span, share in told["coverage"].items():
            coverage.add_metric([point, span], share)
        for cause, rounds in told["missing"].items():
            missing.add_metric([point, cause], rounds)
        if told["worst_reply_ms"] is not None:
            worst.add_metric([point], told["worst_reply_ms"] / 1000)
    yield from (coverage, missing, late, sent, failed, worst)


def _archive_as_status_tells(standing: dict[str, Any] | None) -> Iterator[Metric]:
    families = (
        ("pipeledger_status_asked_timestamp_seconds", "When coverage, causes and disk were last asked for."),
        ("pipeledger_waiting_rows", "Rows in the journal that are not sealed yet."),
        ("pipeledger_journal_log_bytes", "Size of the journal's write-ahead log."),
        ("pipeledger_disk_free_bytes", "Room on the archive's disk."),
        ("pipeledger_disk_full_in_seconds", "When the disk will be full, from what the last week took."),
    )
    values: list[float | None] = [None] * len(families)
    if standing is not None:
        journal, disk = standing["journal"], standing["disk"]
        values = [
            standing["asked_ms"] / 1000, journal["waiting"], journal["log_bytes"], disk["free_bytes"],
            disk["full_in_s"],
        ]  # fmt: skip
    for (name, help_text), number in zip(families, values, strict=True):
        family = GaugeMetricFamily(name, help_text)
        if number is not None:
            family.add_metric([], number)
        yield family
