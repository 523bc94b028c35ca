"""Everything that is saved with the scene."""

from __future__ import annotations

import bpy

from .air.settings import PourwrightAir
from .base.settings import PourwrightBase
from .batch.settings import PourwrightBatch
from .bench.settings import PourwrightBench
from .export.settings import PourwrightExport
from .figure.settings import PourwrightFigure
from .gates.settings import PourwrightGates
from .lastplan import LastPlan
from .mould.settings import PourwrightMould
from .overlay.settings import PourwrightOverlay
from .pose.settings import PourwrightLayer, PourwrightPose
from .printer.settings import PourwrightPrint
from .quantities.settings import PourwrightQuantities
from .rising.settings import PourwrightRising
from .vents.settings import PourwrightVents


class PourwrightSettings(LastPlan, bpy.types.PropertyGroup):
    """One pour: its settings and the last plan."""

    figure: bpy.props.PointerProperty(
        name="Figure", description="What is cast", type=PourwrightFigure
    )
    pose: bpy.props.PointerProperty(
        name="Pose", description="Which way up resin is poured", type=PourwrightPose
    )
    air: bpy.props.PointerProperty(
        name="Air", description="How resin is poured", type=PourwrightAir
    )
    rising: bpy.props.PointerProperty(
        name="Rising Resin", description="The resin in the view", type=PourwrightRising
    )
    overlay: bpy.props.PointerProperty(
        name="Overlay", description="What is shown in the view", type=PourwrightOverlay
    )
    base: bpy.props.PointerProperty(
        name="Sprue Base", description="What the figure stands on", type=PourwrightBase
    )
    vents: bpy.props.PointerProperty(
        name="Vents", description="What lets trapped air out", type=PourwrightVents
    )
    gates: bpy.props.PointerProperty(
        name="Gates", description="What feeds parts that the base does not", type=PourwrightGates
    )
    print: bpy.props.PointerProperty(
        name="Print", description="What prints the master", type=PourwrightPrint
    )
    quantities: bpy.props.PointerProperty(
        name="Quantities", description="What is mixed", type=PourwrightQuantities
    )
    mould: bpy.props.PointerProperty(
        name="Mould", description="The box, the rubber and the cut", type=PourwrightMould
    )
    bench: bpy.props.PointerProperty(
        name="Bench", description="Mixes, times and vessels of a run", type=PourwrightBench
    )
    export: bpy.props.PointerProperty(
        name="Export", description="What is written to files", type=PourwrightExport
    )
    version: bpy.props.IntProperty(
        name="Version",
        description="Version of these settings, by which older scenes are brought up to date",
    )
    batch: bpy.props.PointerProperty(
        name="Batch", description="Figures that are made in one go", type=PourwrightBatch
    )


def register() -> None:
    """Attach the settings to scenes, and what was hidden to view layers."""
    bpy.types.Scene.pourwright = bpy.props.PointerProperty(
        name="Pourwright", description="Settings and last plan of a pour", type=PourwrightSettings
    )
    bpy.types.ViewLayer.pourwright = bpy.props.PointerProperty(
        name="Pourwright", description="What a preview has hidden here", type=PourwrightLayer
    )


def unregister() -> None:
    """Detach them; saved values stay in the file."""
    del bpy.types.ViewLayer.pourwright
    del bpy.types.Scene.pourwright


classes = (PourwrightSettings,)
