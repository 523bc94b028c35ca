"""What holds and feeds the figure: bases and funnel."""

from pourwright.sprue.base import Sprue, build_sprue
from pourwright.sprue.settings import BASE_KINDS, BaseSettings, FunnelSettings

__all__ = ["BASE_KINDS", "BaseSettings", "FunnelSettings", "Sprue", "build_sprue"]
