"""Shrinkage of what is cast, and how much larger a master has to be for it."""

from __future__ import annotations

from dataclasses import dataclass

from pourwright.checks import check_number, check_switch

# A material that shrinks by more is no casting material; one that grows has a negative number.
LINEAR_RANGE = (-0.05, 0.2)
# Addition-cure rubber shrinks by up to this, condensation-cure by 0.002 to 0.012 (from memory).
RUBBER_LINEAR = 0.001


@dataclass(frozen=True)
class ShrinkageSettings:
    """Whether the master is made larger by what resin and rubber shrink, so that casts fit.

    scale_master : make it so; else the scale is only told. resin : share of length that the resin
    loses, None for that of the job's material. rubber : that of the mould.

    Raises InputError for a share that no casting material has.
    """

    scale_master: bool = False
    resin: float | None = None
    rubber: float = RUBBER_LINEAR

    def __post_init__(self) -> None:
        check_switch("shrinkage.scale_master", self.scale_master)
        if self.resin is not None:
            check_number("shrinkage.resin", self.resin, *LINEAR_RANGE)
        check_number("shrinkage.rubber", self.rubber, *LINEAR_RANGE)


def volume_shrinkage(linear: float) -> float:
    """Return the share of volume lost, 1 - (1 - s)^3; 0.3 % along a line is 0.897 %.

    linear : share of length lost. Raises InputError for one that no casting material has.
    """
    check_number("The linear shrinkage", linear, *LINEAR_RANGE)
    return float(1.0 - (1.0 - linear) ** 3)


def linear_shrinkage(volume: float) -> float:
    """Return the share of length lost, 1 - (1 - v)^(1/3), for a share of volume lost."""
    check_number("The shrinkage of volume", volume, *(1 - (1 - s) ** 3 for s in LINEAR_RANGE))
    return float(1.0 - (1.0 - volume) ** (1.0 / 3.0))


def master_scale(resin_linear: float, rubber_linear: float) -> float:
    """Return how many times as large as the figure its master has to be.

    The rubber shrinks as a whole, so its cavity does too, and the resin shrinks within that:
    the cast is (1 - rubber)(1 - resin) times the master.
    """
    check_number("The resin's linear shrinkage", resin_linear, *LINEAR_RANGE)
    check_number("The rubber's linear shrinkage", rubber_linear, *LINEAR_RANGE)
    return float(1.0 / ((1.0 - resin_linear) * (1.0 - rubber_linear)))
