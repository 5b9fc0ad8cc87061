"""What `log` shows beside recording: the live page, from a process of its own."""

from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from readout.cli.output import say
from readout.errors import WrongUse

if TYPE_CHECKING:
    from readout.clock import Clock
    from readout.daemon.outlet.outlet import Outlet


def outlet(
    archive: Path, clock: "Clock", page: str | None, page_token: Path | None
) -> "AbstractContextManager[Outlet | None]":
    """What the options ask for; nothing of it is imported where they do not.

    Raises:
        WrongUse: an option is not as it must be.
    """
    if page is None:
        if page_token is not None:
            raise WrongUse("--page-token is for --page, which is not given")
        return nullcontext()
    from readout.daemon.outlet.asked import Asked
    from readout.daemon.outlet.outlet import Outlet
    from readout.daemon.page.address import listen_at

    return Outlet(Asked(archive, listen_at(page, page_token)), clock, say)
