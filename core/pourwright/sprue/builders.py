"""Which function builds which kind of base."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from pourwright.sprue import holders, logs, plinths, scenic, tags
from pourwright.sprue.model import Shape, Site
from pourwright.sprue.settings import BaseSettings

Builder = Callable[[Site, BaseSettings, float | None], Shape]
"""Makes the base by itself; the neck's diameter in mm is None where the underside is open."""

BUILDERS: Mapping[str, Builder] = MappingProxyType(
    {
        "round_plinth": plinths.round_plinth,
        "rectangular_plinth": plinths.rectangular_plinth,
        "stepped_plinth": plinths.stepped_plinth,
        "name_plate": plinths.name_plate,
        "coin": tags.coin,
        "keyring_tag": tags.keyring_tag,
        "plant_marker": tags.plant_marker,
        "brush_rest": holders.brush_rest,
        "wall_hook": holders.wall_hook,
        "scenic_rock": scenic.scenic_rock,
        "scenic_log": logs.scenic_log,
    }
)
