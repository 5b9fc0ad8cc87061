"""What is wrong with a line, from what came back: by models of the faults, not by remembered bytes."""

from protocols.modbus.symptoms.classify import History, classify
from protocols.modbus.symptoms.kinds import Kind, Symptom

__all__ = ["History", "Kind", "Symptom", "classify"]
