"""What every form is: a reader of one place of a file and its JSON Schema in one."""

from abc import ABC, abstractmethod
from typing import Any, Generic, TypeVar

from protocols.register_map.document import Mapping, Node, Sequence
from protocols.register_map.faults import Report, quoted

T = TypeVar("T")
Schema = dict[str, Any]


def kind_of(node: Node) -> str:
    """What a node is, for a fault."""
    if isinstance(node, Mapping):
        return "a mapping"
    if isinstance(node, Sequence):
        return "a list"
    return quoted(node.text) if node.text or not node.plain else "nothing"


def refuse(node: Node, report: Report, text: str, name: str = "") -> T | None:
    """Tell a fault and give None, which is what every form gives for what it cannot read."""
    report.fault(node, text, name)
    return None


class Form(ABC, Generic[T]):
    """What may stand at one place.

    Forms are never compared or shown, so their dataclasses make no methods for it: each costs 0.2 ms at the
    start of every command.
    """

    def read(self, node: Node, report: Report) -> T | None:
        """The checked value; None where a fault is told, here or before."""
        return None if node.broken else self._read(node, report)

    @abstractmethod
    def _read(self, node: Node, report: Report) -> T | None: ...

    @abstractmethod
    def schema(self, named: dict[str, Schema]) -> Schema:
        """The JSON Schema of this form."""
