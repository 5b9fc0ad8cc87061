"""The line between a master and simulated meters: pseudo-terminal or TCP, at once or at a wire's pace."""

from simulators.line.ends import End, PtyEnd, TcpEnd
from simulators.line.pace import UNPACED, Delivery, Pace, Piece, faithful
from simulators.line.simulated import Exchange, LineStats, SimulatedLine
from simulators.line.tap import Tap, Way

__all__ = [
    "UNPACED",
    "Delivery",
    "End",
    "Exchange",
    "LineStats",
    "Pace",
    "Piece",
    "PtyEnd",
    "SimulatedLine",
    "Tap",
    "TcpEnd",
    "Way",
    "faithful",
]
