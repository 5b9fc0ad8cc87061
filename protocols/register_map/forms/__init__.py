"""Forms: what may stand at a place in a file. One description gives the checker and the JSON Schema.

`form.read(node, report)` gives the checked plain value, or None once its fault is told; no form ever
raises for what a file holds. `form.schema(named)` gives its JSON Schema (draft 2020-12); forms with a name
put their schema into `named` and are referred to from there.
"""

from protocols.register_map.forms.base import Form, Schema
from protocols.register_map.forms.groups import (
    Entries,
    Items,
    Key,
    Keys,
    ListOf,
    Named,
    Numbered,
    Shape,
    document_schema,
)
from protocols.register_map.forms.scalars import (
    SECONDS,
    Choice,
    Duration,
    Exact,
    Flag,
    Integer,
    Text,
    exact_number,
)

__all__ = [
    "SECONDS", "Choice", "Duration", "Entries", "Exact", "Flag", "Form", "Integer", "Items", "Key", "Keys",
    "ListOf", "Named", "Numbered", "Schema", "Shape", "Text", "document_schema", "exact_number",
]  # fmt: skip
