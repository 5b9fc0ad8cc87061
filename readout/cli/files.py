"""Files that commands are given: read, checked, or refused with every fault by line and column."""

from pathlib import Path
from typing import TYPE_CHECKING

from readout.errors import WrongUse

if TYPE_CHECKING:
    from protocols.register_map.model import RegisterMap


def read_bytes(file: Path) -> bytes:
    """The bytes of a file the user named; WrongUse where it cannot be read."""
    try:
        return file.read_bytes()
    except OSError as error:
        raise WrongUse(f"{file}: cannot be read ({error.strerror}); is the path right?") from error


def page_file(file: Path | None, option: str) -> None:
    """Nothing where a page may be written there; WrongUse for another kind of file, maybe the input."""
    if file is not None and file.suffix.lower() not in (".html", ".htm"):
        raise WrongUse(f"{option} {file}: the page is HTML; name a file that ends with .html")


def load_map(file: Path) -> "RegisterMap":
    """The register map in a file; WrongUse with all its faults where it has any."""
    from protocols.register_map.parse import parse_map

    parsed = parse_map(read_bytes(file), str(file))
    if parsed.map is None:
        raise WrongUse("the register map has faults:\n" + "\n".join(str(fault) for fault in parsed.faults))
    return parsed.map
