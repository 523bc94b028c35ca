"""The mould: box, rubber, the air that the rubber traps, and where the knife goes."""

from pourwright.mould.box import MouldBox, Panel
from pourwright.mould.make import CutPlan, Mould, make_mould, plan_cut
from pourwright.mould.settings import (
    BoxSettings,
    CutSettings,
    GuideSettings,
    KeySettings,
    MouldSettings,
)
from pourwright.shop.silicone import Silicone, silicone_named, silicones

__all__ = [
    "BoxSettings",
    "CutPlan",
    "CutSettings",
    "GuideSettings",
    "KeySettings",
    "Mould",
    "MouldBox",
    "MouldSettings",
    "Panel",
    "Silicone",
    "make_mould",
    "plan_cut",
    "silicone_named",
    "silicones",
]
