"""Forms of lists and mappings, and the choice between them by what stands there."""

from collections.abc import Callable
from collections.abc import Mapping as MappingOf
from collections.abc import Sequence as Sequences
from dataclasses import dataclass, field
from typing import Any, Generic, cast

from protocols.register_map.document import Mapping, Node, Scalar, Sequence
from protocols.register_map.faults import Report, quoted
from protocols.register_map.forms.base import Form, Schema, T, kind_of, refuse
from protocols.register_map.forms.scalars import whole_number


@dataclass(frozen=True, eq=False, repr=False)
class Items(Generic[T]):
    """The good items of a list with their nodes; `whole` is False where an item was faulty."""

    values: tuple[T, ...]
    nodes: tuple[Node, ...]
    whole: bool


@dataclass(frozen=True, eq=False, repr=False)
class ListOf(Form[Items[T]]):
    """A list of `least` to `most` items of one form."""

    item: Form[T]
    least: int = 0
    most: int = 1000

    def _read(self, node: Node, report: Report) -> Items[T] | None:
        if not isinstance(node, Sequence):
            return refuse(
                node, report, f"{kind_of(node)} where a list is expected; write [a, b]", "no list here"
            )
        count = len(node.items)
        if not self.least <= count <= self.most:
            wanted = f"{self.least}" if self.least == self.most else f"{self.least} to {self.most}"
            comma = "; is a decimal comma among them?" if node.flow and count > self.most else ""
            return refuse(
                node, report, f"{count} items in the list; {wanted} are allowed{comma}", "number of items"
            )
        read = [(self.item.read(each, report), each) for each in node.items]
        good = [(value, each) for value, each in read if value is not None]
        return Items(tuple(v for v, _ in good), tuple(n for _, n in good), len(good) == len(read))

    def schema(self, named: dict[str, Schema]) -> Schema:
        """See `Form`."""
        limits = {"minItems": self.least, "maxItems": self.most}
        return {"type": "array", "items": self.item.schema(named)} | limits


@dataclass(frozen=True, eq=False, repr=False)
class Numbered(Form[dict[int, T]]):
    """A mapping whose keys are whole numbers: codes, bits."""

    value: Form[T]
    low: int
    high: int

    def _read(self, node: Node, report: Report) -> dict[int, T] | None:
        wanted = f"a key here is a whole number from {self.low} to {self.high}"
        if not isinstance(node, Mapping):
            return refuse(
                node,
                report,
                f"{kind_of(node)} where a mapping is expected; write {{0: word, 1: word}}",
                "no mapping here",
            )
        if not node.pairs:
            return refuse(node, report, "an empty mapping; write {0: word, 1: word}", "empty mapping")
        found: dict[int, T] = {}
        for pair in node.pairs:
            key = whole_number(pair.key, report, wanted)
            value = self.value.read(pair.value, report)
            if key is None or value is None:
                continue
            if not self.low <= key <= self.high:
                report.fault(pair.key, f"{pair.key.text} is out of range; {wanted}", "number out of bounds")
            elif key in found:
                report.fault(pair.key, f"{key} is given twice, written in two ways", "given twice")
            else:
                found[key] = value
        return found

    def schema(self, named: dict[str, Schema]) -> Schema:
        """See `Form`; JSON knows keys as text only."""
        keys = {"pattern": "^(-?(0|[1-9][0-9]*)|0x[0-9a-fA-F]+)$"}
        value = self.value.schema(named)
        return {"type": "object", "minProperties": 1, "propertyNames": keys, "additionalProperties": value}


@dataclass(frozen=True, eq=False, repr=False)
class Shape(Form[Any]):
    """A place that takes different forms, told apart by what stands there: never by trying."""

    scalar: Form[Any] | None = None
    mapping: Form[Any] | None = None
    sequence: Form[Any] | None = None

    def _read(self, node: Node, report: Report) -> Any:
        form = {Scalar: self.scalar, Mapping: self.mapping, Sequence: self.sequence}[type(node)]
        if form is not None:
            return form.read(node, report)
        allowed = [
            word
            for word, one in (
                ("a single value", self.scalar),
                ("a mapping", self.mapping),
                ("a list", self.sequence),
            )
            if one is not None
        ]
        return refuse(
            node,
            report,
            f"{kind_of(node)} cannot stand here; allowed: {' or '.join(allowed)}",
            "list or mapping here",
        )

    def schema(self, named: dict[str, Schema]) -> Schema:
        """See `Form`."""
        forms = [one for one in (self.scalar, self.mapping, self.sequence) if one is not None]
        return {"anyOf": [form.schema(named) for form in forms]}


@dataclass(frozen=True, eq=False, repr=False)
class Key(Generic[T]):
    """One key of a mapping: its form, what it means, an example as YAML data."""

    name: str
    form: Form[T]
    means: str
    example: Any = field(default=None, compare=False)
    required: bool = False


@dataclass(frozen=True, eq=False, repr=False)
class Entries:
    """The read entries of a mapping; those with a fault are missing, `tried` names them too."""

    node: Mapping
    values: MappingOf[str, Any]
    nodes: MappingOf[str, Node]
    tried: frozenset[str]

    def get(self, key: Key[T]) -> T | None:
        """The key's value; None where it is absent or faulty."""
        return cast("T | None", self.values.get(key.name))

    def has(self, key: Key[Any]) -> bool:
        """True where the key stands in the file, faulty or not."""
        return key.name in self.tried

    def at(self, key: Key[Any]) -> Node:
        """Where the key's value stands; the mapping itself where it is absent."""
        return self.nodes.get(key.name, self.node)


@dataclass(frozen=True, eq=False, repr=False)
class Keys(Form[Entries]):
    """A mapping with known keys. `one_of`: exactly one of these; `some_of`: at least one.

    `elsewhere` says of keys that stand in another place where they belong.
    """

    keys: tuple[Key[Any], ...]
    name: str = ""
    of: str = "mapping"
    one_of: tuple[str, ...] = ()
    some_of: tuple[str, ...] = ()
    elsewhere: MappingOf[str, str] = field(default_factory=dict)

    def _read(self, node: Node, report: Report) -> Entries | None:
        known = {key.name: key for key in self.keys}
        if not isinstance(node, Mapping):
            hint = _spaced(node.text) if isinstance(node, Scalar) and node.plain else ""
            hint = hint or f"its keys: {', '.join(list(known)[:6])}, …"
            return refuse(
                node,
                report,
                f"{kind_of(node)} where a mapping is expected; {hint}",
                "no mapping here",
            )
        values: dict[str, Any] = {}
        nodes: dict[str, Node] = {}
        for pair in node.pairs:
            key = known.get(pair.key.text)
            if key is None:
                self._unknown(pair.key, pair.value, node, report)
                continue
            nodes[key.name] = pair.value
            report.within.append(self)
            value = key.form.read(pair.value, report)
            report.within.pop()
            if value is not None:
                values[key.name] = value
        self._missing(node, nodes, report)
        return Entries(node, values, nodes, frozenset(nodes))

    def _unknown(self, key: Scalar, value: Node, node: Mapping, report: Report) -> None:
        known = [one.name for one in self.keys]
        near = report.nearest(key.text, known)
        lone = node.flow and isinstance(value, Scalar) and value.plain and not value.text
        if lone and key.plain and (spaced := _spaced(key.text)):
            name, text = "unknown key", f"{quoted(key.text)} has no value; {spaced}"
        elif lone and not near:
            name, text = (
                "comma in a text",
                f"{quoted(key.text)} has no value; put a text that holds a comma in quotes",
            )
        elif key.text in self.elsewhere:
            name, text = (
                "key in the wrong place",
                f"'{key.text}' does not belong in {self.of}: {self.elsewhere[key.text]}",
            )
        elif place := "" if report.full else self.place_of(key.text, report.within):
            name, text = "key in the wrong place", f"'{key.text}' is no key of {self.of}, but {place}"
        else:
            name, text = (
                "unknown key",
                f"unknown key {quoted(key.text)} in {self.of}{near or '; known: ' + ', '.join(known)}",
            )
        report.fault(key, text, name)

    def place_of(self, name: str, within: Sequences["Keys"]) -> str:
        """Where a key that this mapping has not belongs, as the end of a sentence; nothing where none has it.

        `within`: the mappings around this one, outermost first. Asked in turn: those inside this one, those
        around it, and those inside the one that is nearest around it.
        """
        below = self._inside(name)
        if below:
            return f"of its {' or '.join(below)}: write it there"
        for up, form in enumerate(reversed(within), start=1):
            if any(key.name == name for key in form.keys):
                return f"of {form.of}, {'one level' if up == 1 else f'{up} levels'} up: write it there"
        beside = within[-1]._inside(name) if within else []
        return f"of {beside[0]}, beside it: write it there" if len(beside) == 1 else ""

    def _inside(self, name: str) -> list[str]:
        """The keys of this mapping under which `name` is one, as `'pipe: probe'`; the nearest only."""
        level = [(key.name, key.form) for key in self.keys]
        while level:
            inner = [(path, form.mapping if isinstance(form, Shape) else form) for path, form in level]
            groups = [(path, form) for path, form in inner if isinstance(form, Keys)]
            found = [f"'{path}'" for path, form in groups if any(key.name == name for key in form.keys)]
            if found:
                return found
            level = [(f"{path}: {key.name}", key.form) for path, form in groups for key in form.keys]
        return []

    def _missing(self, node: Mapping, nodes: MappingOf[str, Node], report: Report) -> None:
        for key in self.keys:
            if key.required and key.name not in nodes:
                report.fault(node, f"{self.of} lacks the key '{key.name}': {key.means}", "key missing")
        given = [name for name in self.one_of if name in nodes]
        if self.one_of and len(given) != 1:
            wanted = f"exactly one of {', '.join(self.one_of)}"
            what = f"{self.of} has {' and '.join(given)}" if given else f"{self.of} says none"
            report.fault(node, f"{what}; give {wanted}", "exactly one")
        if self.some_of and not any(name in nodes for name in self.some_of):
            report.fault(node, f"{self.of} needs {' or '.join(self.some_of)}", "key missing")

    def schema(self, named: dict[str, Schema]) -> Schema:
        """See `Form`."""
        if self.name and self.name in named:
            return {"$ref": f"#/$defs/{self.name}"}
        if self.name:
            named[self.name] = {}
        found: Schema = {"type": "object", "additionalProperties": False}
        required = [key.name for key in self.keys if key.required]
        if required:
            found["required"] = required
        if self.one_of:
            found["oneOf"] = [{"required": [name]} for name in self.one_of]
        if self.some_of:
            found["anyOf"] = [{"required": [name]} for name in self.some_of]
        found["properties"] = {key.name: _described(key, named) for key in self.keys}
        if not self.name:
            return found
        named[self.name] = found
        return {"$ref": f"#/$defs/{self.name}"}


def _spaced(text: str) -> str:
    """What to write for `name:hall`, which YAML takes for one word; nothing for other words."""
    from protocols.register_map.syntax import colon_without_space  # read only once something is wrong

    mended = colon_without_space(text)
    return f"write a space behind the colon: {quoted(mended)}" if mended else ""


def _described(key: Key[Any], named: dict[str, Schema]) -> Schema:
    example = {} if key.example is None else {"examples": [key.example]}
    return {"description": key.means} | example | key.form.schema(named)


@dataclass(frozen=True, eq=False, repr=False)
class Named(Form[dict[str, tuple[Scalar, T]]]):
    """A mapping from names the author chooses to one form; `check` tells what is wrong with a name."""

    value: Form[T]
    pattern: str
    check: Callable[[str], str]

    def _read(self, node: Node, report: Report) -> dict[str, tuple[Scalar, T]] | None:
        if not isinstance(node, Mapping):
            return refuse(
                node,
                report,
                f"{kind_of(node)} where a mapping is expected; write `name: …` lines",
                "no mapping here",
            )
        if not node.pairs:
            return refuse(
                node,
                report,
                "an empty mapping; write at least one `name: …`, or leave the key out",
                "empty mapping",
            )
        found: dict[str, tuple[Scalar, T]] = {}
        for pair in node.pairs:
            wrong = self.check(pair.key.text)
            if wrong:
                report.fault(pair.key, wrong, "unfit name")
            value = self.value.read(pair.value, report)
            if value is not None and not wrong:
                found[pair.key.text] = (pair.key, value)
        return found

    def schema(self, named: dict[str, Schema]) -> Schema:
        """See `Form`."""
        names = {"pattern": f"^(?:{self.pattern})$"}
        value = self.value.schema(named)
        return {"type": "object", "minProperties": 1, "propertyNames": names, "additionalProperties": value}


def document_schema(form: Keys, title: str, name: str) -> Schema:
    """The whole JSON Schema of a document whose top mapping is `form`; `name` is its file's name."""
    named: dict[str, Schema] = {}
    top = form.schema(named)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema", "$id": name, "title": title,
        **top, "$defs": dict(sorted(named.items())),
    }  # fmt: skip
