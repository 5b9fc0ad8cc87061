"""Which settings and addresses are tried, in which order: the likely ones first, all of them in the end."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from protocols.modbus.timing import SerialFormat

#: Baud rates [bit/s], the standard's own first (MODBUS over Serial Line V1.02, 3.2: 9600 and 19200 are
#: required), then by how often meters are set so.
BAUD_RATES = (19200, 9600, 38400, 115200, 57600, 4800, 2400, 1200)
#: Parity and stop bits: the standard's own (8E1), what most meters leave the factory with, the standard's
#: form without parity (8N2), and the rest.
CHARACTERS = ("8E1", "8N1", "8N2", "8O1")
#: Unit addresses up to here are asked at all settings before the others are: factories set 1, people count.
LOW_UNITS = 16

_PARITIES = {"E": "even", "N": "none", "O": "odd"}


def characters(fmt: SerialFormat) -> str:
    """Data bits, parity and stop bits as printed on meters: `8E1`."""
    return f"{fmt.data_bits}{fmt.parity[0].upper()}{fmt.stop_bits}"


def format_of(baud_rate: int, text: str) -> SerialFormat:
    """The settings for `8E1` and the like; ValueError for anything else, RequestError for 0 Bd."""
    if len(text) != 3 or text[0] not in "78" or text[1].upper() not in _PARITIES or text[2] not in "12":
        raise ValueError(text)
    return SerialFormat(baud_rate, _PARITIES[text[1].upper()], int(text[0]), int(text[2]))


def likely_settings(
    baud_rates: Sequence[int] = BAUD_RATES, forms: Sequence[str] = CHARACTERS, *, parity_shows: bool = True
) -> tuple[SerialFormat, ...]:
    """Every combination, likely ones first: the two common baud rates in each form, then the others.

    Without `parity_shows` (pseudo-terminals have no parity) forms that differ in nothing else are left out.
    """
    common, rare = baud_rates[:2], baud_rates[2:]
    found: dict[object, SerialFormat] = {}
    for group in (common, rare):
        for text in forms:
            for baud_rate in group:
                fmt = format_of(baud_rate, text)
                key = fmt if parity_shows else (baud_rate, fmt.data_bits, fmt.stop_bits)
                found.setdefault(key, fmt)
    return tuple(found.values())


@dataclass(frozen=True, slots=True)
class Stage:
    """One opening of the port: the settings, and the units that are asked with them."""

    format: SerialFormat
    units: tuple[int, ...]


def stages(formats: Iterable[SerialFormat], units: Iterable[int]) -> Iterator[Stage]:
    """Low addresses at all settings first, then the others at all settings; empty stages are left out."""
    formats, ordered = tuple(formats), sorted(set(units))
    low = tuple(unit for unit in ordered if unit <= LOW_UNITS)
    high = tuple(unit for unit in ordered if unit > LOW_UNITS)
    for part in (low, high):
        if part:
            yield from (Stage(fmt, part) for fmt in formats)
