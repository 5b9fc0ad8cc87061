"""A point file's text from its nodes: one line a group where it fits, as a person would write it."""

import re
from collections.abc import Iterator

from protocols.register_map.document import Mapping, Node, Scalar
from protocols.register_map.document import Sequence as Items

#: Lines longer than this are broken into blocks.
WIDEST = 100
_PLAIN = re.compile(r"[A-Za-z0-9_./+(\-][A-Za-z0-9_./+()%°³²\- :]*\Z")


def yaml_of(root: Mapping) -> str:
    """The document; read again, it gives the same keys and texts. Comments are not among nodes."""
    return "".join(f"{line}\n" for line in _block(root, ""))


def _block(mapping: Mapping, indent: str) -> Iterator[str]:
    for pair in mapping.pairs:
        head, short = f"{indent}{_scalar(pair.key)}:", _flow(pair.value)
        if len(head) + len(short) < WIDEST or not isinstance(pair.value, Mapping) or not pair.value.pairs:
            yield f"{head} {short}"
        else:
            yield head
            yield from _block(pair.value, indent + "  ")


def _flow(node: Node) -> str:
    """A node on one line."""
    if isinstance(node, Mapping):
        return "{" + ", ".join(f"{_scalar(pair.key)}: {_flow(pair.value)}" for pair in node.pairs) + "}"
    if isinstance(node, Items):
        return "[" + ", ".join(_flow(item) for item in node.items) + "]"
    return _scalar(node)


def _scalar(node: Scalar) -> str:
    text = node.text
    looks_plain = _PLAIN.match(text) and ": " not in text and not text.endswith((":", " "))
    if node.plain and looks_plain and text != "-":
        return text
    return "'" + text.replace("'", "''") + "'"
