"""How long characters take, and how long the line must be quiet between frames.

Source: MODBUS over Serial Line V1.02, 2.5.1, p. 12-13.
"""

from dataclasses import dataclass
from functools import cached_property

from protocols.errors import RequestError

#: A frame is followed by silence of at least 3.5 characters (p. 13).
SILENT_CHARACTERS = 3.5
#: Up to here silence is counted in characters, above it is a fixed time (p. 13).
FASTEST_COUNTED = 19200
#: Seconds of silence above 19200 Bd: "a fixed value of 1.750 ms" (p. 13).
FIXED_SILENCE = 0.00175
#: Bits of the standard's character: start, 8 data, parity and 1 stop, or 2 stop without parity (p. 12).
STANDARD_BITS = 11

PARITIES = ("none", "even", "odd")


@dataclass(frozen=True)
class SerialFormat:
    """The settings of a serial line: baud rate [bit/s], parity (none, even, odd), data bits, stop bits.

    Without parity and with one stop bit (8N1) a character has 10 bits; the standard knows only 11, but many
    meters leave the factory so. RequestError where a number makes no sense.
    """

    baud_rate: int = 19200
    parity: str = "even"
    data_bits: int = 8
    stop_bits: int = 1

    def __post_init__(self) -> None:
        if self.baud_rate <= 0:
            raise RequestError(f"A baud rate is more than 0, not {self.baud_rate}.")
        if self.parity not in PARITIES:
            raise RequestError(f"Parity is one of {', '.join(PARITIES)}, not {self.parity}.")
        if self.data_bits not in (7, 8) or self.stop_bits not in (1, 2):
            raise RequestError(
                "A character has 7 or 8 data bits and 1 or 2 stop bits, "
                f"not {self.data_bits} and {self.stop_bits}."
            )

    def __str__(self) -> str:
        """As printed on meters: `19200 8E1`."""
        return f"{self.baud_rate} {self.data_bits}{self.parity[0].upper()}{self.stop_bits}"

    @cached_property
    def bits_per_character(self) -> int:
        """Bits on the wire for one byte: start, data, parity, stop."""
        return 1 + self.data_bits + (self.parity != "none") + self.stop_bits

    @cached_property
    def character_time(self) -> float:
        """Seconds one byte takes on the wire."""
        return self.bits_per_character / self.baud_rate

    @cached_property
    def silence(self) -> float:
        """Seconds of silence between two frames (t3.5): 4.010 ms at 9600 Bd, 2.005 ms at 19200 Bd.

        Counted in characters of the standard's 11 bits even where the line has 10: a meter's timer is built
        for 11, and takes what comes sooner for the rest of the frame before.
        """
        if self.baud_rate > FASTEST_COUNTED:
            return FIXED_SILENCE
        return SILENT_CHARACTERS * max(STANDARD_BITS, self.bits_per_character) / self.baud_rate

    def wire_time(self, characters: int) -> float:
        """Seconds that many bytes take on the wire, one behind the other."""
        return characters * self.character_time
