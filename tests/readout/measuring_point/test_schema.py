"""The JSON Schemas of point and job files are kept under docs/schema and agree with the checks."""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from ruamel.yaml import YAML

from readout.measuring_point.grammar import job_schema, point_schema
from readout.measuring_point.point import parse_point

ROOT = Path(__file__).parents[3]
DEMO = ROOT / "demo_data/bottling_hall"
SCHEMAS = {"measuring-point": point_schema, "job": job_schema}


def validator(name: str) -> jsonschema.Draft202012Validator:
    kept = (ROOT / f"docs/schema/{name}.schema.json").read_text(encoding="utf-8")
    return jsonschema.Draft202012Validator(json.loads(kept))


def as_json(text: str) -> Any:
    """The text as any YAML 1.2 reader gives it, in JSON's types."""
    return json.loads(json.dumps(YAML(typ="safe", pure=True).load(text), default=str))


@pytest.mark.parametrize("name", SCHEMAS)
def test_the_kept_schema_is_what_the_program_checks(name: str) -> None:
    """To renew it after a change: write `json.dumps(..., indent=2)` and a line end to the file."""
    kept = json.loads((ROOT / f"docs/schema/{name}.schema.json").read_text(encoding="utf-8"))
    assert kept == json.loads(json.dumps(SCHEMAS[name]()))
    jsonschema.Draft202012Validator.check_schema(kept)


@pytest.mark.parametrize("name", SCHEMAS)
def test_every_key_says_what_it_means_with_an_example_that_is_valid(name: str) -> None:
    schema = SCHEMAS[name]()
    looked_at = 0
    for one in (schema, *schema["$defs"].values()):
        for key, said in one.get("properties", {}).items():
            assert said["description"], key
            (example,) = said["examples"]
            alone = jsonschema.Draft202012Validator({**said, "$defs": schema["$defs"]})
            assert list(alone.iter_errors(example)) == [], key
            looked_at += 1
    assert looked_at > 25


def test_the_files_of_the_demonstration_are_valid() -> None:
    for name, file in (("measuring-point", "bottling-hall-header.yaml"), ("job", "job.yaml")):
        assert list(validator(name).iter_errors(as_json((DEMO / file).read_text(encoding="utf-8")))) == []


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ("role: header flow", "role: flow"),
        ("outside_diameter: 60.3 mm", "outside_diameter: 60.3"),
        ("outside_diameter: 60.3 mm", "outer_diameter: 60.3 mm"),
        ("position: centre", "position: left"),
        ("owner: ours", "owner: theirs"),
        ("{every: 1 s}", "{every: 1 second}"),
        ("name: bottling-hall-header", "name: Bottling Hall"),
        ("expected_flow: 40 m3/h to 420 m3/h", "expected_flow: 420 m3/h"),
        ("{port: ./meter-port}", "{}"),
    ],
)
def test_a_planted_fault_is_refused_by_both(tmp_path: Path, right: str, wrong: str) -> None:
    text = (DEMO / "bottling-hall-header.yaml").read_text(encoding="utf-8")
    assert right in text
    text = text.replace(right, wrong)
    assert list(validator("measuring-point").iter_errors(as_json(text))) != []
    (tmp_path / "p.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "job.yaml").write_bytes((DEMO / "job.yaml").read_bytes())
    assert parse_point(tmp_path / "p.yaml").point is None
