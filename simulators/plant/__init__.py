"""Where simulated values come from: a plant with a known truth, or a table that is played back."""

from simulators.plant.air import AirPlant, Episode, Shift, Truth
from simulators.plant.replay import ReplayedValues, read_values
from simulators.plant.signals import PlantValues
from simulators.plant.source import Moment, Quantity, Source
from simulators.plant.usual import usual_values

__all__ = [
    "AirPlant",
    "Episode",
    "Moment",
    "PlantValues",
    "Quantity",
    "ReplayedValues",
    "Shift",
    "Source",
    "Truth",
    "read_values",
    "usual_values",
]
