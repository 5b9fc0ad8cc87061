"""A simulated meter for any register map: registers, exceptions, settings, identity, clock."""

from simulators.device.meter import SimulatedMeter

__all__ = ["SimulatedMeter"]
