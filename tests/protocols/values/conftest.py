"""What the tests of values share: build a value by a few words, decode bytes given as hex text."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from protocols.modbus.tables import Table
from protocols.register_map.model import WORDS, Column, Kind, Number, Value
from protocols.values.decode import Decoded, Words, decode
from protocols.values.flags import FLAG_WORDS, Flag


class Maker:
    """Numbers, values and rows of words, all in the input table."""

    def number(
        self, kind: Kind, address: int = 0, scale: str = "1", offset: str = "0", **more: Any
    ) -> Number:
        words = more.pop("words", None) or WORDS[kind]
        return Number(
            Table.INPUT, address, kind, words, words, scale=Decimal(scale), offset=Decimal(offset), **more
        )

    def value(self, kind: Kind, scale: str = "1", offset: str = "0", **more: Any) -> Value:
        """A value at input 0; what the number needs is picked out of `more`."""
        own = {key: more.pop(key) for key in ("words", "word_order", "byte_order") if key in more}
        return Value("flow", self.number(kind, 0, scale, offset, **own), **more)

    def rows(self, words: Sequence[Sequence[int]] | np.ndarray) -> dict[Column, Words]:
        """Rows of words from input 0 on, all received."""
        table = np.array(words, dtype=np.uint16)
        there = np.ones(len(table), np.bool_)
        return {Column(Table.INPUT, i): Words(table[:, i], there) for i in range(table.shape[1])}

    def words(self, *hex_rows: str) -> dict[Column, Words]:
        """Rows given as the bytes on the wire, "42 F6 E9 79" each."""
        sent = [bytes.fromhex(each.replace("|", " ")) for each in hex_rows]
        return self.rows([[int.from_bytes(b[i : i + 2], "big") for i in range(0, len(b), 2)] for b in sent])

    def row(self, words: dict[Column, int]) -> dict[Column, Words]:
        """One row of encoded words, all received."""
        there = np.ones(1, np.bool_)
        return {column: Words(np.array([word], np.uint16), there) for column, word in words.items()}

    def told(self, decoded: Decoded, row: int = 0) -> tuple[Any, str | None]:
        """(value or None, flag's word or None) of one row."""
        value = decoded.data[row] if decoded.available[row] else None
        return (
            value.item() if isinstance(value, np.generic) else value,
            FLAG_WORDS.get(Flag(decoded.flag[row])),
        )

    def read(self, value: Value, hex_row: str) -> tuple[Any, str | None]:
        """(value or None, flag's word or None) of one row of bytes."""
        return self.told(decode(value, self.words(hex_row)))


@pytest.fixture(scope="session")
def make() -> Maker:
    """See `Maker`."""
    return Maker()
