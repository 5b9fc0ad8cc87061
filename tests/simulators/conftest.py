"""The invented insertion meter as a register map, built from the models: what the tests of this room read."""

from decimal import Decimal

import pytest

from protocols.modbus.tables import Table
from protocols.register_map.model import (
    WORDS,
    Condition,
    Kind,
    NotAvailable,
    Number,
    Reference,
    RegisterMap,
    Serial,
    Span,
    Totaliser,
    Value,
    Wire,
)


def number(table: Table, address: int, kind: Kind, scale: str = "1", words: int | None = None) -> Number:
    width = WORDS[kind] if words is None else words
    return Number(table, address, kind, width, width, scale=Decimal(scale))


def hall_map() -> RegisterMap:
    """Four tables, gaps of 1 and 5 addresses, writable and fixed settings; at most 48 registers a read."""
    holding, inputs = Table.HOLDING, Table.INPUT
    told = Reference(
        Condition(
            told=Value("flow_reference_temperature", number(holding, 40, Kind.INT16, "0.1"), unit="degC")
        ),
        Condition(told=Value("flow_reference_pressure", number(holding, 41, Kind.UINT16), unit="mbar")),
    )
    return RegisterMap(
        meter="Example insertion meter",
        map_version="3",
        fluid="compressed air",
        principle="thermal",
        serial=Serial(9600, "even", 8, 1, 12),
        wire=Wire(registers_per_read=48, bridge=4),
        readings=(
            Value(
                "flow", number(inputs, 16, Kind.FLOAT32), unit="m3/h", quantity="volume flow", reference=told
            ),
            Value(
                "velocity",
                number(inputs, 18, Kind.FLOAT32),
                unit="m/s",
                basis="reference",
                range=Span(Decimal("0.4"), Decimal(160)),
            ),
            Value(
                "pressure",
                number(inputs, 20, Kind.UINT16, "0.001"),
                unit="bar",
                gauge=True,
                not_available=NotAvailable((Decimal(65535),)),
            ),
            Value(
                "temperature",
                number(inputs, 21, Kind.INT16, "0.1"),
                unit="degC",
                not_available=NotAvailable((Decimal(-32768),)),
            ),
            Value(
                "total",
                number(inputs, 22, Kind.UINT32, "0.1"),
                unit="m3",
                totaliser=Totaliser(Decimal(1000000000)),
            ),
            Value("state", number(inputs, 24, Kind.UINT16), bits={0: "sensor fault", 5: "memory full"}),
            Value("door", number(Table.DISCRETE, 3, Kind.BIT)),
            Value("relay", number(Table.COIL, 7, Kind.BIT)),
        ),
        settings=(
            Value(
                "inside_diameter",
                number(holding, 30, Kind.FLOAT32),
                unit="mm",
                range=Span(Decimal(12), Decimal(900)),
                writable=True,
            ),
            Value(
                "log_interval",
                number(holding, 32, Kind.UINT16),
                unit="s",
                steps=tuple(map(Decimal, (1, 2, 10, 20, 60, 300))),
                writable=True,
            ),
            Value("clock", number(holding, 34, Kind.UNIX_TIME), writable=True),
            Value("damping", number(holding, 36, Kind.UINT16, "0.1"), unit="s"),
            Value("alarm_output", number(Table.COIL, 8, Kind.BIT), writable=True),
        ),
        identity=(
            Value("serial_number", number(holding, 60, Kind.TEXT, words=6)),
            Value("firmware", number(holding, 66, Kind.TEXT, words=3)),
        ),
        text="",
        sha256="",
    )


@pytest.fixture(scope="session")
def meter_map() -> RegisterMap:
    return hall_map()
