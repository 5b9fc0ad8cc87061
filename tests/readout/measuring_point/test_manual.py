"""The manual of point and job files: its examples are read by the program."""

import re
from pathlib import Path
from typing import Any

from protocols.register_map.forms import Choice, Key, Keys, ListOf
from readout.measuring_point import grammar as k
from readout.measuring_point.making.questions import Question, wrong_answer
from readout.measuring_point.point import parse_point

MANUAL = (Path(__file__).parents[3] / "docs/points.md").read_text(encoding="utf-8")


def test_the_examples_are_a_point_and_its_job(tmp_path: Path) -> None:
    point, job = (re.search(rf"```{kind}\n(.*?)```", MANUAL, re.DOTALL) for kind in ("yaml", "yaml job"))
    assert point is not None
    assert job is not None
    (tmp_path / "job.yaml").write_text(job.group(1), encoding="utf-8")
    (tmp_path / "p.yaml").write_text(point.group(1) + "job: job.yaml\n", encoding="utf-8")
    parsed = parse_point(tmp_path / "p.yaml")
    assert parsed.faults == ()
    assert parsed.point is not None
    assert parsed.point.record_every == 1


def test_every_key_is_in_the_manual() -> None:
    assert [
        key.name for key in (*k.POINT.keys, *k.JOB_FILE.keys) if f"`{key.name}`" not in MANUAL + "`job`"
    ] == []


def test_the_table_of_a_pipes_keys_is_the_grammars() -> None:
    """Each once and no other, where it stands, all its words, and an example that the file takes."""
    cells = [tuple(cell.strip(" `") for cell in line.split("|")[1:5]) for line in MANUAL.splitlines()]
    groups = {"pipe": k.PIPE, "probe": k.PROBE, "inlet_run": k.INLET_RUN, "outlet_run": k.OUTLET_RUN}
    told = [cell for cell in cells if cell and cell[0] in groups]
    wanted = [
        (name, key) for name, group in groups.items() for key in keys_of(group) if key.name not in groups
    ]
    assert sorted(cell[:2] for cell in told) == sorted((name, key.name) for name, key in wanted)
    for name, key in wanted:
        says, example = next(cell[2:] for cell in told if cell[:2] == (name, key.name))
        form = key.form.item if isinstance(key.form, ListOf) else key.form
        if isinstance(form, Choice):
            assert [word for word in form.words if word not in says] == []
        path = f"pipe.{key.name}" if name == "pipe" else f"pipe.{name}.{key.name}"
        assert wrong_answer(Question(path), example) == ""


def keys_of(group: Key[Any]) -> tuple[Key[Any], ...]:
    assert isinstance(group.form, Keys)
    return group.form.keys
