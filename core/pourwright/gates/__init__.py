"""Ways in for resin: what the base does not feed in time gets a rod that does."""

from pourwright.gates.place import Gates, place_gates
from pourwright.gates.settings import FedPart, FillTime, Gate, GateSettings, Neck

__all__ = ["FedPart", "FillTime", "Gate", "GateSettings", "Gates", "Neck", "place_gates"]
