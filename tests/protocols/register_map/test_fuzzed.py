"""A minute of a coverage-guided fuzzer against the reading of maps; see fuzz_maps.py."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
SECONDS = 60


@pytest.mark.long
def test_a_minute_of_grown_inputs_neither_breaks_in_nor_hangs(tmp_path: Path) -> None:
    """No traceback, no parse of 10 s, no file, process, import or network; it starts from the good maps."""
    corpus = tmp_path / "corpus"
    corpus.mkdir()
    for file in (*ROOT.glob("demo_data/*/*-meter.yaml"), *ROOT.glob("tests/golden/meters/maps/*.yaml")):
        shutil.copy(file, corpus)
    fuzzer = Path(__file__).with_name("fuzz_maps.py")
    done = subprocess.run(
        [sys.executable, str(fuzzer), str(SECONDS), str(corpus)],
        cwd=tmp_path, capture_output=True, text=True, check=False, timeout=SECONDS * 5,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    (runs,) = [line for line in done.stderr.splitlines() if line.startswith("stat::number_of_executed_units")]
    assert int(runs.rpartition(" ")[2]) > 5000, runs
    assert list(tmp_path.glob("crash-*")) == []
