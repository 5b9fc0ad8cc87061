"""What a user of the simulators is told when something cannot be had. Every text is a sentence."""


class SimulatorError(Exception):
    """Root of the errors raised in `simulators`; never raised itself."""


class WrongValues(SimulatorError):  # noqa: N818  (named for what the user sees)
    """A file of values to replay is not as it must be; the text begins with file:line."""


class NoSuchEnd(SimulatorError):  # noqa: N818
    """The port, link or TCP address that a line should have is not to be had."""


class NotSimulated(SimulatorError):  # noqa: N818
    """The map leaves open something that a simulated meter needs, such as its unit address."""


class WrongFaults(SimulatorError):  # noqa: N818
    """A fault plan, a script or a trace to replay is not as it must be; the text begins with the place."""


class NotAsScripted(SimulatorError):  # noqa: N818
    """What a master sent is not what the script waited for."""
