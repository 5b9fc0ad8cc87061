"""Readings as a person reads them."""

from datetime import UTC, datetime

import pyarrow as pa
import pytest

from readout.cli.output import columns, counted
from readout.cli.readings_text import stored_text, unit_text, value_text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "–"),
        (7.125, "7.125"),
        (0.1 + 0.2, "0.3"),  # 0.30000000000000004 as a double: noise that no meter has
        (1329735.5, "1329735.5"),
        (999999998.9999, "999999998.9999"),  # nine digits and ten thousandths of one total
        (12345678901234.5, "12345678901234.5"),  # a large total keeps every digit
        (18000000000000000001, "18000000000000000001"),
        (True, "on"),
        (False, "off"),
        ([], "none"),
        (["sensor fault", "supply low"], "sensor fault, supply low"),
        ("measuring", "measuring"),
    ],
)
def test_a_value_is_shown_without_noise_and_without_loss(value: object, text: str) -> None:
    assert value_text(value) == text


def test_a_gauge_pressure_says_so() -> None:
    assert unit_text("bar", gauge=True) == "bar(g)"
    assert unit_text("bar", gauge=False) == "bar"
    assert unit_text(None, gauge=True) == ""
    assert unit_text("1", gauge=False) == ""


def stored(name: str, value: object, kind: pa.DataType, **about: str) -> tuple[pa.Field, pa.Array]:
    metadata = {"register": f"input 0 {kind}", **about}
    return pa.field(name, kind, metadata=metadata), pa.array([value], kind)


def test_a_stored_row_is_told_from_its_file_alone() -> None:
    """Units, reference conditions, words of codes and bits, flags; single precision as short as it is."""
    due = datetime(2026, 5, 4, 6, 0, tzinfo=UTC)
    moment = pa.timestamp("ms", tz="UTC")
    held = [
        (pa.field("due", moment), pa.array([due], moment)),
        (pa.field("status", pa.string()), pa.array(["partial"])),
        stored("flow", 305.6, pa.float32(), unit="m3/h", reference="20 degC, 1000 mbar"),
        stored("pressure", None, pa.float64(), unit="bar(g)"),
        (pa.field("pressure_flag", pa.string()), pa.array(["not available"])),
        stored("mode", 1, pa.uint16(), words='{"codes": {"0": "standby", "1": "measuring"}}'),
        stored("phase", 9, pa.uint16(), words='{"codes": {"0": "standby"}}'),
        stored("state", 5, pa.uint16(), words='{"bits": {"0": "sensor fault"}}'),
        (pa.field("raw_input_0", pa.uint16()), pa.array([5], pa.uint16())),
    ]
    row = pa.table([array for _, array in held], schema=pa.schema([field for field, _ in held]))
    assert [" ".join(line.split()) for line in stored_text(row)] == [
        "due 2026-05-04 06:00:00 UTC, status partial",
        "flow 305.6 m³/h at 20 °C, 1000 mbar",
        "pressure – bar(g) not available",
        "mode measuring",
        "phase unknown(9)",
        "state sensor fault, bit2",
    ]


def test_columns_are_aligned_and_numbers_to_the_right() -> None:
    rows = [("point", "rows"), ("header", "3600"), ("b", "1")]
    assert columns(rows, right=frozenset({1})) == ["point   rows", "header  3600", "b          1"]
    assert columns([]) == []


@pytest.mark.parametrize(("number", "said"), [(0, "0 files"), (1, "1 file"), (2, "2 files")])
def test_a_count_takes_its_noun(number: int, said: str) -> None:
    assert counted(number, "file") == said
