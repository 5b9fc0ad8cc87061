"""The JSON Schema of register maps: kept under docs/schema, the same as the program's own checks.

jsonschema is the stranger here: it knows the schema and nothing of our checker.
"""

import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from protocols.register_map.findings import FINDINGS, whole_map
from protocols.register_map.grammar import map_schema
from protocols.register_map.parse import parse_map

ROOT = Path(__file__).parents[3]
SCHEMA = map_schema()
KEPT = ROOT / "docs/schema/register-map.schema.json"
VALIDATOR = jsonschema.Draft202012Validator(json.loads(KEPT.read_text(encoding="utf-8")))

#: Every map of the demonstration and of the tests.
SHIPPED = {
    file
    for folder in ("demo_data", "tests", "docs")
    for file in (ROOT / folder).rglob("*.yaml")
    if "\nregister_map:" in "\n" + file.read_text(encoding="utf-8")
}
#: Every map in the manual.
IN_DOCUMENTS = [
    text if text.startswith("register_map") else "register_map: 1\nmeter: m\n" + text
    for text in re.findall(
        r"```yaml\n(.*?)```", (ROOT / "docs/maps.md").read_text(encoding="utf-8"), re.DOTALL
    )
]

GOOD = """\
register_map: 1
meter: m
readings:
  a: {input: 1, type: uint16, unit: s, scale: 0.1, range: [0, 5], not_available: [65535, FFFE]}
  b: {coil: 3, codes: {0: off, 1: on}}
log_memory:
  capacity: 100
  clock: {zone: site}
  count: {input: 10}
  record: {registers: 2, empty: [all ones], fields: {time: {at: 0, type: unix time}}}
  reached_by: {files: {first_file: 1, records_per_file: 100}}
"""


def as_json(text: str) -> Any:
    """The text as any YAML 1.2 reader gives it, in JSON's types."""
    return json.loads(json.dumps(YAML(typ="safe", pure=True).load(text), default=str))


def test_the_kept_schema_is_what_the_program_checks() -> None:
    """To renew it after a change: `make schema`."""
    assert json.loads(KEPT.read_text(encoding="utf-8")) == json.loads(json.dumps(map_schema()))


def test_the_schema_is_a_valid_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(map_schema())


GOOD_ONES = [GOOD, *IN_DOCUMENTS, *(path.read_text(encoding="utf-8") for path in sorted(SHIPPED))]


def test_the_maps_are_found() -> None:
    assert len(SHIPPED) >= 13, "two of the demonstration, ten of the golden meters, one of the contracts"
    assert len(IN_DOCUMENTS) >= 7


@pytest.mark.parametrize("text", GOOD_ONES)
def test_a_good_map_is_valid_for_both(text: str) -> None:
    assert list(VALIDATOR.iter_errors(as_json(text))) == []
    assert parse_map(text.encode(), "m").map is not None


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ("type: uint16", "type: unit16"),
        ("input: 1", "inptu: 1"),
        ("input: 1", "input: one"),
        ("input: 1", "input: 1, holding: 2"),
        ("scale: 0.1", "scale: '0,1'"),
        ("range: [0, 5]", "range: [0]"),
        ("[65535, FFFE]", "[]"),
        ("a: {input", "A: {input"),
        ("meter: m", "metre: m"),
        ("register_map: 1", "register_map: 2"),
        ("coil: 3", "coil: -3"),
        ("{0: off", "{zero: off"),
        ("capacity: 100", "capacity: 0"),
        ("zone: site", "zone: CET"),
        ("{at: 0", "{input: 0"),
        ("files: {", "file: {"),
        ("first_file: 1, ", ""),
        ("[all ones]", "[all twos]"),
    ],
)
def test_a_planted_fault_is_refused_by_both(right: str, wrong: str) -> None:
    assert right in GOOD
    text = GOOD.replace(right, wrong, 1)
    assert list(VALIDATOR.iter_errors(as_json(text))) != []
    assert parse_map(text.encode(), "m").map is None


def properties() -> list[tuple[str, dict[str, Any]]]:
    """Every key of every mapping, with the place where it stands."""
    places = [("the map", SCHEMA), *SCHEMA["$defs"].items()]
    return [
        (f"{where}.{name}", key) for where, one in places for name, key in one.get("properties", {}).items()
    ]


@pytest.mark.parametrize(("place", "key"), properties(), ids=[place for place, _ in properties()])
def test_every_key_says_what_it_means_with_an_example_that_is_valid(place: str, key: dict[str, Any]) -> None:
    assert len(key["description"].split()) >= 2, place
    (example,) = key["examples"]
    alone = {**key, "$defs": SCHEMA["$defs"]}
    assert list(jsonschema.Draft202012Validator(alone).iter_errors(example)) == []


def test_there_is_no_mapping_whose_keys_were_not_looked_at() -> None:
    """Every mapping with fixed keys is the map or one of `$defs`: no other has `properties`."""

    def count(node: Any) -> int:
        inside = node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
        return sum(map(count, inside)) + (isinstance(node, dict) and node.get("type") == "object"
                                          and "properties" in node)  # fmt: skip

    assert count(SCHEMA) == 1 + sum("properties" in one for one in SCHEMA["$defs"].values())


#: Findings whose example of wrong another program refuses by the schema alone. The others take a look at more
#: than one key (overlap, wider than a read), at the text itself (leading zeros, a key twice), or only warn.
CAUGHT = {
    "no keys and values", "nested too deep", "list or mapping here", "no list here", "no mapping here",
    "number of items", "empty mapping", "key missing", "exactly one", "unknown key", "key in the wrong place",
    "comma in a text", "unfit name", "unknown word", "neither true nor false", "nothing given",
    "truth value as text", "text too long", "text in another form", "duration without unit", "decimal comma",
    "number in quotes", "no number", "number out of bounds",
}  # fmt: skip


def test_the_schema_catches_what_a_schema_can_and_takes_whatever_is_right() -> None:
    """Each kind of finding by its own examples; ruamel.yaml and jsonschema know nothing of our checks."""
    caught = set()
    for name, finding in FINDINGS.items():
        assert list(VALIDATOR.iter_errors(as_json(whole_map(finding.right)))) == [], name
        try:
            document = as_json(whole_map(finding.wrong)) if finding.wrong else {}
        except (YAMLError, TypeError):  # no YAML, or a key that JSON has no form for
            continue
        if finding.wrong and list(VALIDATOR.iter_errors(document)):
            caught.add(name)
    assert caught == CAUGHT
