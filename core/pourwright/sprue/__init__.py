"""What holds and feeds the figure: bases and funnel."""

from pourwright.sprue.base import build_sprue
from pourwright.sprue.catalogue import BASE_KINDS, CATALOGUE, BaseKind, Parameter
from pourwright.sprue.model import BaseFacts, Face, Lettering, Sprue
from pourwright.sprue.settings import TEXT_STYLES, BaseSettings, FunnelSettings

__all__ = [
    "BASE_KINDS",
    "CATALOGUE",
    "TEXT_STYLES",
    "BaseFacts",
    "BaseKind",
    "BaseSettings",
    "Face",
    "FunnelSettings",
    "Lettering",
    "Parameter",
    "Sprue",
    "build_sprue",
]
