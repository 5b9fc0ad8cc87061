"""What `log` shows beside recording: the live page, readings for a broker; from a process of its own."""

from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from readout.cli.output import say
from readout.errors import WrongUse

if TYPE_CHECKING:
    from readout.clock import Clock
    from readout.daemon.outlet.outlet import Outlet


@dataclass(frozen=True, slots=True)
class Outlets:
    """The options as they were given."""

    page: str | None = None
    page_token: Path | None = None
    mqtt: str | None = None
    mqtt_login: Path | None = None


def outlet(archive: Path, clock: "Clock", wanted: Outlets) -> "AbstractContextManager[Outlet | None]":
    """What the options ask for; nothing of it is imported where they do not.

    Raises:
        WrongUse: an option is not as it must be.
    """
    if wanted.page is None and wanted.page_token is not None:
        raise WrongUse("--page-token is for --page, which is not given")
    if wanted.mqtt is None and wanted.mqtt_login is not None:
        raise WrongUse("--mqtt-login is for --mqtt, which is not given")
    if wanted.page is None and wanted.mqtt is None:
        return nullcontext()
    from readout.daemon.broker.address import broker_at
    from readout.daemon.outlet.asked import Asked
    from readout.daemon.outlet.outlet import Outlet
    from readout.daemon.page.address import listen_at

    page = None if wanted.page is None else listen_at(wanted.page, wanted.page_token)
    broker = None if wanted.mqtt is None else broker_at(wanted.mqtt, wanted.mqtt_login, archive)
    return Outlet(Asked(archive, page, broker), clock, say)
