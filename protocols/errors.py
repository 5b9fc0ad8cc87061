"""Whose fault it is: the root of the errors that `protocols` raises.

`RequestError`: we asked for something that Modbus or the map does not allow; nothing was sent.
`ReplyError`: the meter or the line sent something that is not the answer to the request.
A Modbus exception reply is neither: it is an answer, so it is a value.
"""


class ProtocolError(Exception):
    """Root of the errors raised in `protocols`; never raised itself."""


class RequestError(ProtocolError):
    """The request is not allowed by the Modbus specification or by the map."""


class ReplyError(ProtocolError):
    """What came back does not answer the request; `cause` is its short name, the text a sentence."""

    def __init__(self, cause: str, text: str) -> None:
        super().__init__(text)
        self.cause = cause
