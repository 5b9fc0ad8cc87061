"""Register maps of invented meters, built without a parser."""

from collections.abc import Callable, Sequence

import pytest

from protocols.modbus.tables import Table
from protocols.register_map.model import Kind, Number, RegisterMap, Serial, Value, Wire

MakeMap = Callable[..., RegisterMap]


@pytest.fixture(scope="session")
def make_map() -> MakeMap:
    """A map from readings, settings and wire keys."""

    def make(readings: Sequence[Value], settings: Sequence[Value] = (), **wire: object) -> RegisterMap:
        return RegisterMap(
            meter="Hollow Mere test meter",
            map_version=None,
            fluid=None,
            principle=None,
            serial=Serial(),
            wire=Wire(**wire),  # type: ignore[arg-type]  # keyword arguments of a test
            readings=tuple(readings),
            settings=tuple(settings),
            identity=(),
            text="",
            sha256="",
        )

    return make


@pytest.fixture(scope="session")
def number() -> Callable[..., Number]:
    """A number by table, address, width in words and, for 32 bits behind each address, fewer addresses."""

    def make(table: Table, address: int, words: int = 1, addresses: int | None = None) -> Number:
        kind = {1: Kind.UINT16, 2: Kind.UINT32, 3: Kind.UINT48, 4: Kind.UINT64}[words]
        kind = Kind.BIT if table.of_bits else kind
        return Number(table, address, kind, words, addresses or words)

    return make
