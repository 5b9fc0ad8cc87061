"""How a simulated meter refuses: what carries out a request raises this, the meter answers with it."""

from protocols.modbus.exceptions import ExceptionCode


class Refused(Exception):  # noqa: N818  (a meter refuses; that is no error of the program)
    """The meter answers with an exception; `code` is its number."""

    def __init__(self, code: ExceptionCode) -> None:
        super().__init__(code.name)
        self.code = code
