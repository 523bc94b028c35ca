"""Ways out for trapped air: rods on the master that become channels in the mould."""

from pourwright.vents.settings import Vent, VentSettings
from pourwright.vents.straight import Vents, place_vents

__all__ = ["Vent", "VentSettings", "Vents", "place_vents"]
