"""The four tables of the Modbus data model."""

from enum import StrEnum


class Table(StrEnum):
    """The four tables of the Modbus data model (Application Protocol V1.1b3, 4.3)."""

    COIL = "coil"
    DISCRETE = "discrete"
    INPUT = "input"
    HOLDING = "holding"

    @property
    def of_bits(self) -> bool:
        """True for the two tables whose entries are single bits."""
        return self in (Table.COIL, Table.DISCRETE)

    @property
    def register(self) -> str:
        """One of its registers in a sentence: an input register, a holding register."""
        return f"{'an' if self is Table.INPUT else 'a'} {self} register"
