"""Errors of the acting side. The exit status belongs to the class; `readout.cli.exits` is their only reader.

Every text is a sentence for a technician: what happened, where (file:line, port, address, register),
what to try. Status numbers as contracted: 1 fell short · 2 wrong use or file · 3 port or archive not to
be had · 4 replies came, none could be trusted · 130 interrupted.
"""

from typing import ClassVar


class PipeledgerError(Exception):
    """Root of what a user is told; `status` is the exit status of a command that ends with it."""

    status: ClassVar[int] = 1


class FellShort(PipeledgerError):  # noqa: N818  (named for what the user sees)
    """The work was done, but something is missing."""

    status = 1


class WrongUse(PipeledgerError):  # noqa: N818
    """An option, an argument or a file is not as it must be."""

    status = 2


class PortError(PipeledgerError):
    """The port is not to be had: absent, denied or held. `kind` says which."""

    status = 3

    def __init__(self, kind: str, text: str) -> None:
        super().__init__(text)
        self.kind = kind  # absent | denied | held | unfit (no serial port) | settings | lost


class ArchiveError(PipeledgerError):
    """The archive is not to be had: absent, denied, held by another recorder, of an unknown format."""

    status = 3


class NothingTrusted(PipeledgerError):  # noqa: N818
    """Replies came, and none could be trusted."""

    status = 4
