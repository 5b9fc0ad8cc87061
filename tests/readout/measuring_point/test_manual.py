"""The manual of point and job files: its examples are read by the program."""

import re
from pathlib import Path

from readout.measuring_point import grammar as k
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
