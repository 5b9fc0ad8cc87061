"""What the commands that open a line without a point file share: port, settings, units."""

import re
from typing import TYPE_CHECKING, Annotated

import typer

from readout.errors import WrongUse

if TYPE_CHECKING:
    from protocols.modbus.timing import SerialFormat
    from readout.diagnose.listen import Opener

PortName = Annotated[
    str, typer.Argument(metavar="PORT", help="A device, COM7, socket://host:port or rfc2217://host:port.")
]
BaudRates = Annotated[
    str | None,
    typer.Option("--baud", metavar="N[,N…]", help="Only these baud rates; default: the likely ones."),
]
Characters = Annotated[
    str | None,
    typer.Option(
        "--characters",
        metavar="FORM[,FORM…]",
        help="Only these data bits, parity and stop bits, such as 8E1.",
    ),
]
_SPAN = re.compile(r"(\d{1,3})(?:-(\d{1,3}))?", re.ASCII)


def chosen_settings(port: str, baud: str | None, characters: str | None) -> "tuple[SerialFormat, ...]":
    """The settings to try, likely ones first. WrongUse for words that are none."""
    from protocols.errors import RequestError
    from readout.bus.platform import is_pseudo_terminal
    from readout.diagnose.settings import BAUD_RATES, CHARACTERS, likely_settings

    try:
        rates = BAUD_RATES if baud is None else tuple(int(word) for word in baud.split(","))
    except ValueError:
        raise WrongUse(f"--baud {baud}: baud rates are whole numbers, such as 9600,19200.") from None
    forms = CHARACTERS if characters is None else tuple(characters.upper().split(","))
    try:
        return likely_settings(rates, forms, parity_shows=not is_pseudo_terminal(port))
    except ValueError:
        raise WrongUse(
            f"--characters {characters}: write data bits, parity and stop bits, such as 8E1, 8N1 or 8N2."
        ) from None
    except RequestError as error:
        raise WrongUse(f"--baud {baud}: {error}") from error


def unit_addresses(text: str) -> tuple[int, ...]:
    """`1-247`, `12`, `1,5,20-30` as addresses. WrongUse outside 1 to 247."""
    from protocols.modbus.limits import UNIT_FIRST, UNIT_LAST

    found: dict[int, None] = {}
    for part in text.replace(" ", "").split(","):
        span = _SPAN.fullmatch(part)
        first, last = (int(span[1]), int(span[2] or span[1])) if span else (0, 0)
        if not UNIT_FIRST <= first <= last <= UNIT_LAST:
            raise WrongUse(
                f"--units {text}: unit addresses are {UNIT_FIRST} to {UNIT_LAST}; write 12, 1-20 or 1,5,9-30."
            )
        found |= dict.fromkeys(range(first, last + 1))
    return tuple(found)


def opener(port: str) -> "Opener":
    """A function that opens the port with the settings it is given."""
    from readout.bus.port import open_port

    return lambda fmt: open_port(port, fmt)
