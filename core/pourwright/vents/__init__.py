"""Ways out for trapped air: rods on the master that become channels in the mould."""

from pourwright.vents.given import given_vents
from pourwright.vents.place import Vents, place_vents
from pourwright.vents.settings import GivenVent, Vent, VentSettings

__all__ = ["GivenVent", "Vent", "VentSettings", "Vents", "given_vents", "place_vents"]
