"""What prints the master: its room, the least wall it draws, and its layers."""

from __future__ import annotations

from dataclasses import dataclass

from pourwright.checks import check_number, check_text
from pourwright.errors import InputError


@dataclass(frozen=True)
class Printer:
    """A printer; its manual overrides every number here.

    build_x_mm, build_y_mm, build_z_mm : the room it prints in. smallest_wall_mm : it draws.
    layer_mm : height of a layer.

    Raises InputError for a number that no printer has.
    """

    name: str
    title: str
    build_x_mm: float
    build_y_mm: float
    build_z_mm: float
    smallest_wall_mm: float
    layer_mm: float

    def __post_init__(self) -> None:
        for key in ("name", "title"):
            check_text(f"printer.{key}", getattr(self, key))
        for key in ("build_x_mm", "build_y_mm", "build_z_mm"):
            check_number(f"printer.{key}", getattr(self, key), 5.0, 5_000.0)
        check_number("printer.smallest_wall_mm", self.smallest_wall_mm, 0.02, 20.0)
        check_number("printer.layer_mm", self.layer_mm, 0.005, 5.0)

    @property
    def build_mm(self) -> tuple[float, float, float]:
        """Sizes along x, y and z."""
        return (self.build_x_mm, self.build_y_mm, self.build_z_mm)


# Kinds of printer, not products: common practice, no source.
PRINTERS: dict[str, Printer] = {
    p.name: p
    for p in (
        Printer("resin_small", "Resin printer, small", 120.0, 68.0, 150.0, 0.4, 0.05),
        Printer("resin_medium", "Resin printer, medium", 190.0, 120.0, 200.0, 0.4, 0.05),
        Printer("resin_large", "Resin printer, large", 300.0, 160.0, 300.0, 0.5, 0.05),
        Printer("filament_medium", "Filament printer, medium", 220.0, 220.0, 220.0, 0.8, 0.2),
        Printer("filament_large", "Filament printer, large", 300.0, 300.0, 300.0, 0.8, 0.2),
    )
}

DEFAULT_PRINTER = PRINTERS["resin_medium"]


def printer_named(name: str) -> Printer:
    """Return the printer of that name; InputError lists the names there are."""
    try:
        return PRINTERS[name]
    except KeyError:
        raise InputError(
            f"There is no printer '{name}'", hint="choose one of " + ", ".join(PRINTERS)
        ) from None
