"""How a simulated meter does not answer as asked: what carries out a request raises one of these."""

from protocols.modbus.exceptions import ExceptionCode


class Refused(Exception):  # noqa: N818  (a meter refuses; that is no error of the program)
    """The meter answers with an exception; `code` is its number."""

    def __init__(self, code: ExceptionCode) -> None:
        super().__init__(code.name)
        self.code = code


class Silent(Exception):  # noqa: N818
    """The meter says nothing: its reply is lost, or it is without supply."""
