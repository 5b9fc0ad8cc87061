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
