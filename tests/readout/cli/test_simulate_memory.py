"""`simulate --memory`: what cannot be filled, or cannot go wrong, is told before anything is served."""

from pathlib import Path
from types import ModuleType

import pytest

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall"


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (["--memory-faults", "earthquake"], "There is no memory fault 'earthquake'"),
        (["--memory", "50001"], "holds 50000 records and stops when it is full; 50001 do not fit"),
        (["--memory-every", "7s"], "records every 1, 2, 5, 10, 20, 60, 300 s, not every 7"),
        (["--memory-every", "often"], "--memory-every often: not a duration"),
    ],
)
def test_a_memory_that_cannot_be_is_wrong_use(command: ModuleType, options: list[str], sentence: str) -> None:
    done = command.run("simulate", "insertion-meter.yaml", *options, cwd=DEMO)
    assert done.status == 2
    assert sentence in done.err
    assert "Traceback" not in done.err
