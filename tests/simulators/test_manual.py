"""What the manual promises of the simulated plant is what the plant does."""

import re
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from protocols.register_map.model import RegisterMap
from simulators.plant import AirPlant, PlantValues, read_values

MANUAL = (Path(__file__).parents[2] / "docs" / "simulated-meters.md").read_text(encoding="utf-8")
DUBLIN = ZoneInfo("Europe/Dublin")


def volume(first: int, last: int) -> float:
    """m³ from midnight to midnight, days of May 2026."""
    start, end = (datetime(2026, 5, day, tzinfo=DUBLIN).timestamp() for day in (first, last))
    return AirPlant().volume_between(start, end)


def test_the_days_volumes_are_those_of_the_manual():
    closed, production = re.search(r"closed day takes\s+(\d+) m³, a production day (\d+) m³", MANUAL).groups()  # type: ignore[union-attr]
    assert volume(4, 5) == pytest.approx(float(closed), abs=0.012)
    assert volume(5, 6) == pytest.approx(float(production), abs=0.012)


def test_the_manuals_table_can_be_replayed(meter_map: RegisterMap):
    table = re.search(r"```\n(seconds,.*?)```", MANUAL, re.DOTALL).group(1)  # type: ignore[union-attr]
    assert len(read_values(table.encode(), "manual.csv", meter_map, PlantValues()).rows) == 3
