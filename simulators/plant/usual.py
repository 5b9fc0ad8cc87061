"""Which plant a simulated meter is fitted to when nobody says: the one its fluid belongs to."""

from datetime import time

from simulators.plant.air import AirPlant, Shift
from simulators.plant.signals import PlantValues

#: The water of the bottle rinser in the invented bottling hall: shifts as the header, a drip at night.
RINSER = AirPlant(
    out_of_hours=0.3,
    shifts=(Shift("early", time(6), time(14), 9.5), Shift("late", time(14), time(22), 7.6)),
    inside_diameter=41.9,  # mm, EN 10255 medium DN 40
    pressure_at_rest=3.8,
    total_at_epoch=21_930.0,
    wave_flow=0.2,
    unrest_volume=0.0003,
    mean_temperature=14.0,
    seed=2,
)


def usual_values(fluid: str | None) -> PlantValues:
    """The readings of a meter for that fluid: water of the rinser, else air of the header."""
    return PlantValues(RINSER if fluid == "water" else AirPlant())
