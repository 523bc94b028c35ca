"""Settings of the search for a pose, and the poses of the last run."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable

import bpy

from .. import messages
from ..base.settings import angle, length
from ..jobs import JobError
from ..view import quiet
from . import preview


def _turn_preview(self: PourwrightPose, context: bpy.types.Context) -> None:
    """Let an open preview follow the active row."""
    scene = self.id_data
    if quiet() or not self.previewing or scene != context.scene:
        return
    if 0 <= self.active_pose < len(self.poses):
        try:
            preview.show(context, self.poses[self.active_pose].up)
        except JobError as error:
            messages.tell(context, "ERROR", error.message, error.at_mm)


def weight(name: str, description: str, default: float):
    """Return points that something costs a pose."""
    return bpy.props.FloatProperty(
        name=name,
        description=f"Points for {description}; the pose with the fewest points is the best",
        default=default,
        min=0.0,
        max=1e6,
        soft_max=100.0,
        precision=2,
        step=1,
    )


class PourwrightPoseWeights(bpy.types.PropertyGroup):
    """What a pose is judged by; defaults are those of the core, and a test keeps them so."""

    pocket: weight("Air Pocket", "each air pocket that leaves a visible bubble", 1.0)
    residual_mm3: weight("Air Left", "each mm³ of air that stays in the cast", 0.01)
    rod: weight("Rod", "each vent rod that the pose is likely to need", 2.0)
    rod_mm: weight("Rod Length", "each mm of these rods", 0.02)
    height_mm: weight("Height", "each mm of the figure's height in the pour", 0.05)
    footprint_cm2: weight("Footprint", "each cm² of the box round the figure's outline", 0.1)
    protected: weight("Protected", "each rod that starts on fully protected surface", 10.0)
    misfit_mm: weight("Misfit", "each mm that does not fit the room in the pot", 5.0)


class PourwrightPoseRow(bpy.types.PropertyGroup):
    """A pose of the last run."""

    up: bpy.props.FloatVectorProperty(
        name="Up", description="Direction in the scene that points up while resin is poured", size=3
    )
    rank: bpy.props.IntProperty(
        name="Rank", description="Place in the ranking from 1, or 0 for the standing pose"
    )
    tilt: bpy.props.FloatProperty(
        name="Tilt", description="Angle from the standing pose", subtype="ANGLE"
    )
    score: bpy.props.FloatProperty(name="Score", description="Points; the fewest are the best")
    pockets: bpy.props.IntProperty(
        name="Air Pockets", description="Air pockets that leave a visible bubble"
    )
    residual_mm3: bpy.props.FloatProperty(
        name="Air Left", description="Air that stays in the cast without vents, in mm³"
    )
    rods: bpy.props.IntProperty(name="Rods", description="Vent rods that it is likely to need")
    rod_mm: bpy.props.FloatProperty(name="Rod Length", description="Length of them all, in mm")
    height_mm: bpy.props.FloatProperty(
        name="Height", description="Height of the figure in the pour, in mm"
    )
    footprint_cm2: bpy.props.FloatProperty(
        name="Footprint", description="Box round the figure's outline seen from above, in cm²"
    )
    protected: bpy.props.FloatProperty(
        name="Protected", description="Protection of the places where rods would start, summed"
    )
    misfit_mm: bpy.props.FloatProperty(
        name="Misfit", description="What does not fit the room that was given, in mm"
    )
    reasons: bpy.props.StringProperty(
        name="Reasons", description="What sets it apart from the standing pose, a line each"
    )


class PourwrightPose(bpy.types.PropertyGroup):
    """How poses are searched, and what was found."""

    search: bpy.props.EnumProperty(
        name="Search",
        description="Which ways up are tried",
        items=[
            ("FREE", "Any Way Up", "Every direction may point up in the pour"),
            ("CONE", "Near Standing", "Only poses tilted a little from the standing pose"),
        ],
        default="FREE",
    )
    cone: angle("Tilt Up To", "Largest tilt from the standing pose", 30.0, 180.0, low_deg=1.0)
    standing: bpy.props.EnumProperty(
        name="Standing Pose",
        description="The pose that all others are compared with",
        items=[
            ("UPSIDE_DOWN", "Upside Down", "As the figure stands, poured through its base"),
            ("CURRENT", "Pour Direction", "The pour direction that is set in Air"),
        ],
        default="UPSIDE_DOWN",
    )
    directions: bpy.props.IntProperty(
        name="Directions",
        description="How many ways up are tried; the best ones are refined after that",
        default=500,
        min=10,
        max=100_000,
        soft_max=5000,
    )
    keep: bpy.props.IntProperty(
        name="Poses", description="Length of the ranking", default=8, min=1, max=100, soft_max=20
    )
    use_pot_height: bpy.props.BoolProperty(
        name="Limit Height",
        description="Count it against a pose if the figure is too tall for the room in the pot",
    )
    pot_height_mm: length("Room Height", "Height inside the pressure pot that is left for the "
                          "figure itself", 150.0, 1.0, 10_000.0, soft_max=500.0)
    use_pot_diameter: bpy.props.BoolProperty(
        name="Limit Diameter",
        description="Count it against a pose if the figure is too wide for the room in the pot",
    )
    pot_diameter_mm: length("Room Diameter", "Diameter inside the pressure pot that is left for "
                            "the figure itself", 150.0, 1.0, 10_000.0, soft_max=500.0)
    weights: bpy.props.PointerProperty(
        name="Weights", description="What a pose is judged by", type=PourwrightPoseWeights
    )
    # Results of the last run.
    poses: bpy.props.CollectionProperty(
        name="Poses",
        description="The standing pose, then the others, best first",
        type=PourwrightPoseRow,
    )
    active_pose: bpy.props.IntProperty(
        name="Pose",
        description="Click a pose to read why it has its place; an open preview turns to it",
        update=_turn_preview,
    )
    sweep: bpy.props.StringProperty(
        name="Sweep", description="Every direction that was tried and its points, packed"
    )
    swept_axis: bpy.props.FloatVectorProperty(
        name="Axis", description="Middle of the directions that were tried", size=3
    )
    swept_cone: bpy.props.FloatProperty(
        name="Tried Up To", description="Largest tilt that was tried", subtype="ANGLE"
    )
    found_in: bpy.props.StringProperty(
        name="Found In", description="Names of the objects that poses were searched for"
    )
    made_with: bpy.props.StringProperty(
        name="Made With", description="The figure and the settings that were searched with"
    )
    # An open preview.
    previewing: bpy.props.BoolProperty(
        name="Previewing", description="Whether the figure is shown turned"
    )
    preview_of: bpy.props.StringProperty(
        name="Preview Of", description="The figure that the preview was made of"
    )


class PourwrightHidden(bpy.types.PropertyGroup):
    """An object that a preview has hidden."""

    object: bpy.props.PointerProperty(
        name="Object", description="Object to show again", type=bpy.types.Object
    )
    selected: bpy.props.BoolProperty(name="Selected", description="Whether it was selected")


class PourwrightLayer(bpy.types.PropertyGroup):
    """What a view layer keeps: the state that a preview has to give back."""

    hidden: bpy.props.CollectionProperty(
        name="Hidden", description="Objects that a preview has hidden", type=PourwrightHidden
    )


def cone_deg(pose: PourwrightPose) -> float:
    """Return the half angle of the directions that are tried."""
    return 180.0 if pose.search == "FREE" else math.degrees(pose.cone)


def active(scene: bpy.types.Scene) -> PourwrightPoseRow | None:
    """Return the active pose, or None."""
    pose = scene.pourwright.pose
    return pose.poses[pose.active_pose] if 0 <= pose.active_pose < len(pose.poses) else None


def names_of(objects: Iterable[bpy.types.Object]) -> str:
    """Return the names of a figure's objects as one text."""
    return json.dumps(sorted(obj.name for obj in objects))


classes = (
    PourwrightPoseWeights,
    PourwrightPoseRow,
    PourwrightPose,
    PourwrightHidden,
    PourwrightLayer,
)
