"""What holds for everything that the extension registers, and for every panel in every state."""

import ast
import re
import string
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import bpy
from paper import draw, panels
from pose_stage import find_pose
from stage import add_mesh, box, choose, gate, part, settings

SMALL = {"a", "an", "and", "as", "at", "by", "for", "from", "in", "into", "of", "on", "or",
         "out", "per", "the", "to", "under", "with"}  # fmt: skip
# Written as they are, wherever they stand.
UNITS = {"mm", "cm", "m", "ml", "g", "kg", "min", "kPa", "plan.json", "sheet.html"}
# Endings of names, and what a tooltip or subtype has to say of them.
SPOKEN = {
    "_mm": "mm|millimetres?", "_mm2": "mm²", "_mm3": "mm³|cubic millimetres?", "_cm2": "cm²",
    "_ml": "ml|millilitres?", "_g": "g|grams?", "_s": "seconds?|s", "_min": "minutes?", "_c": "°C",
    "_m": "m|metres?", "_deg": "degrees?|°", "_percent": "percent|%", "_kpa": "kPa",
}  # fmt: skip
# What Blender shows with its unit; camera lengths are millimetres in every scene.
SHOWN = {"DISTANCE_CAMERA": "_mm", "PERCENTAGE": "_percent", "ANGLE": "_deg"}
ONLY_WRITE_FILES = {"export_master", "export_all", "save_job"}  # nothing to undo
CANNOT_BE_OFF = {"remove_part", "show_place"}  # buttons that are drawn only where they work


def _mine(base):
    """Return all registered classes of the extension below a class of Blender."""
    found, left = [], [base]
    while left:
        for cls in left.pop().__subclasses__():
            left.append(cls)
            if "pourwright" in cls.__module__ and cls.is_registered:
                found.append(cls)
    return found


def _operators():
    found = {cls.bl_idname.partition(".")[2]: cls for cls in _mine(bpy.types.Operator)}
    assert len(found) > 20
    return found


def _is_title(label: str) -> bool:
    """Whether a label is written as Blender writes its own."""
    words = re.findall(r"[\w.°²³'-]+", label)
    for i, word in enumerate(words):
        if word in UNITS or not word[0].isalpha() or word[0].isupper():
            continue
        if word not in SMALL or i in (0, len(words) - 1):
            return False
    return not label.endswith(".")


# Blender's own mix-in brings these along, hidden.
OF_BLENDER_S_PRESETS = {"remove_name", "remove_active"}


def _said_well(what: str, name: str, tooltip: str) -> list[str]:
    wrong = []
    if not name or not _is_title(name):
        wrong.append(f"{what}: the label {name!r} is no Title Case")
    if not tooltip.strip():
        wrong.append(f"{what}: no tooltip")
    if tooltip.endswith(".") or tooltip.strip().lower() == name.lower():
        wrong.append(f"{what}: tooltip {tooltip!r} ends in a stop or repeats the label")
    if tooltip and not tooltip[0].isupper():
        wrong.append(f"{what}: tooltip {tooltip!r} starts small")
    return wrong


def _unit_is_said(what: str, prop) -> list[str]:
    if prop.type not in {"FLOAT", "INT"}:
        return []
    ending = next((e for e in sorted(SPOKEN, key=len)[::-1] if prop.identifier.endswith(e)), "")
    shown = SHOWN.get(prop.subtype)
    if shown == "_mm" and ending != "_mm":
        return [f"{what} is shown in mm, but its name does not say so"]
    if not ending or shown == ending:
        return []
    if re.search(rf"(?<![\w²³])({SPOKEN[ending]})(?![\w²³])", f"{prop.name} {prop.description}"):
        return []
    return [f"{what}: neither label nor tooltip say {SPOKEN[ending]}"]


def _properties_of(what: str, properties) -> list[str]:
    wrong = []
    for prop in properties:
        if prop.identifier in {"rna_type", "name", "bl_idname", *OF_BLENDER_S_PRESETS}:
            continue
        own = f"{what}.{prop.identifier}"
        wrong += _said_well(own, prop.name, prop.description)
        wrong += _unit_is_said(own, prop)
        if prop.type == "ENUM":
            for item in prop.enum_items_static:
                if item.identifier:
                    wrong += _said_well(f"{own}[{item.identifier}]", item.name, item.description)
    return wrong


def case_every_property_has_name_tooltip_and_unit():
    groups = _mine(bpy.types.PropertyGroup)
    assert len(groups) > 15
    wrong = []
    for group in groups:
        own = [p for p in group.bl_rna.properties if p.identifier != "name"]
        assert len(own) > 1, group
        wrong += _properties_of(group.__name__, own)
    for owner in (bpy.types.Scene, bpy.types.ViewLayer, bpy.types.WindowManager):
        mine = [p for p in owner.bl_rna.properties if p.identifier.startswith("pourwright")]
        assert mine, owner
        wrong += _properties_of(owner.__name__, mine)
    assert not wrong, "\n".join(wrong)


def case_every_operator_and_panel_says_what_it_is():
    wrong = []
    for name, cls in _operators().items():
        rna = getattr(bpy.ops.pourwright, name).get_rna_type()
        wrong += _said_well(name, rna.name, rna.description)
        wrong += _properties_of(name, rna.properties)
        if not cls.bl_options & {"UNDO", "INTERNAL"} and name not in ONLY_WRITE_FILES:
            wrong.append(f"{name} makes no undo step")
    for cls in _mine(bpy.types.Panel):
        # Blender puts the name of the preset that was applied last in the place of the label.
        if not hasattr(cls, "preset_subdir") and not _is_title(cls.bl_label):
            wrong.append(f"{cls.__name__}: {cls.bl_label!r} is no Title Case")
    assert not wrong, "\n".join(wrong)


def _why_off(name: str) -> str | None:
    """Return what a button is grey for, or None where it is not grey."""
    operator = getattr(bpy.ops.pourwright, name)
    if operator.poll():
        return None
    try:
        operator()
    except RuntimeError as error:
        return str(error).partition(".poll()")[2].strip()
    raise AssertionError(f"{name} ran against its own poll")


@contextmanager
def _working():
    """A job seems to run."""
    from types import SimpleNamespace

    current = part("running").current
    current.job = SimpleNamespace(fraction=0.4, text="Working", running=True)
    current.title = "Make Master"
    try:
        yield
    finally:
        current.job = None


def case_every_grey_button_says_why():
    reasons = {name: set() for name in _operators()}

    def look():
        for name, found in reasons.items():
            why = _why_off(name)
            if why is not None:
                found.add(why)

    look()
    with _working():
        look()
    choose([add_mesh("Crate", *box((0, 0, 0), (20, 20, 20)))])
    look()
    bpy.ops.object.mode_set(mode="EDIT")
    look()
    bpy.ops.object.mode_set(mode="OBJECT")
    wrong = []
    for name, found in reasons.items():
        if not found and hasattr(_operators()[name], "poll") and name not in CANNOT_BE_OFF:
            wrong.append(f"{name} was never grey: has it a poll that can fail?")
        wrong += [f"{name} is grey and says only {why!r}" for why in found
                  if not why or "context is incorrect" in why or why.endswith(".")]  # fmt: skip
    assert not wrong, "\n".join(wrong)
    assert sum(bool(found) for found in reasons.values()) > 15


def _draw_all(where: str) -> dict[str, object]:
    papers = {}
    for cls in panels():
        try:
            papers[cls.__name__] = draw(cls)
        except Exception as error:
            raise AssertionError(f"{cls.__name__} cannot be drawn: {where}") from error
    assert len(papers) > 11 and papers["POURWRIGHT_PT_main"].operators
    return papers


def case_every_panel_draws_in_every_state():
    bpy.context.scene.unit_settings.scale_length = 0.001
    _draw_all("empty scene")
    objects = gate()
    _draw_all("figure selected")
    choose(objects)
    _draw_all("figure chosen")
    with _working():
        assert "pourwright.stop" in _draw_all("job running")["POURWRIGHT_PT_main"].operators
    assert bpy.ops.pourwright.make_master() == {"FINISHED"}
    find_pose()
    assert bpy.ops.pourwright.plan_mould() == {"FINISHED"}
    made = _draw_all("plan made")
    assert next(n for _, n in made["POURWRIGHT_PT_pose"].lists) > 1
    assert "Rubber" in made["POURWRIGHT_PT_mould"].text
    assert ("POURWRIGHT_UL_vents", 1) in made["POURWRIGHT_PT_vents"].lists
    assert "pourwright.export_master" in made["POURWRIGHT_PT_export"].operators
    with _working():
        _draw_all("plan made, job running")
    settings().base.margin_mm += 1.0
    assert "Make Master, or Check Again" in _draw_all("plan stale")["POURWRIGHT_PT_main"].text
    bpy.context.view_layer.objects.active = objects[0]
    for mode in ("EDIT", "WEIGHT_PAINT", "SCULPT"):
        bpy.ops.object.mode_set(mode=mode)
        assert "Object Mode" in _draw_all(mode)["POURWRIGHT_PT_main"].text
    bpy.ops.object.mode_set(mode="OBJECT")
    bpy.data.objects.remove(objects[1])
    assert "is gone" in _draw_all("an object of the figure deleted")["POURWRIGHT_PT_main"].text
    for obj in list(bpy.data.objects):
        bpy.data.objects.remove(obj)
    _draw_all("everything deleted")
    bpy.context.window_manager.pourwright_message.text = "{not} a %format"
    _draw_all("a message with braces")


# --- The dictionary -------------------------------------------------------------------------


@cache
def _sources() -> list[ast.AST]:
    folder = Path(part("ui").__file__).parent
    files = [f for f in folder.rglob("*.py") if f.parent.name != "translations"]
    assert len(files) > 40
    return [ast.parse(f.read_text(encoding="utf-8")) for f in files]


def _texts_of(call: ast.Call) -> list[str]:
    """Return the texts of a call that are shown: the first of say(), and text= of a layout's."""
    name = getattr(call.func, "attr", getattr(call.func, "id", ""))
    shown = [k.value for k in call.keywords if k.arg in {"text", "heading"}]
    if name == "say":
        shown = call.args[:1]
    elif name == "say_count":
        shown = call.args[1:]
    elif name in {"value", "wrapped"}:
        shown += call.args
    return [n.value for n in shown if isinstance(n, ast.Constant) and isinstance(n.value, str)]


def case_every_translation_is_used():
    german = part("translations").GERMAN
    shown = {t for tree in _sources() for n in ast.walk(tree) if isinstance(n, ast.Call)
             for t in _texts_of(n)}  # fmt: skip
    labels, buttons = set(shown), set()
    for name in _operators():
        rna = getattr(bpy.ops.pourwright, name).get_rna_type()
        buttons.add(rna.name)
        labels.add(rna.description)
    labels |= {cls.bl_label for cls in _mine(bpy.types.Panel)}
    for group in _mine(bpy.types.PropertyGroup):
        for prop in group.bl_rna.properties:
            labels |= {prop.name, prop.description}
            if prop.type == "ENUM":
                labels |= {t for i in prop.enum_items_static for t in (i.name, i.description)}
    for (context, text), said in german.items():
        assert text in {"*": labels, "Operator": buttons | shown}[context], (context, text)
        assert said and (said != text or "{" in text or text.isnumeric()), text
        fields = [{f[1] for f in string.Formatter().parse(t) if f[1]} for t in (text, said)]
        assert fields[0] == fields[1], text
        assert not said.endswith("."), said
    assert len(german) > 60


def case_german_is_whole_where_it_begins():
    """All messages and the whole of the figure's panel, so that no half sentence is English."""
    german = part("translations").GERMAN
    said = {
        text
        for tree in _sources()
        for n in ast.walk(tree)
        if isinstance(n, ast.Call) and getattr(n.func, "id", "") in {"say", "say_count"}
        for text in _texts_of(n)
    }
    assert len(said) > 20
    assert not {text for text in said if ("*", text) not in german} - {"Object"}
    figure = type(settings().figure).bl_rna.properties["unit"]
    for text in (figure.name, figure.description, *(i.name for i in figure.enum_items)):
        assert ("*", text) in german, text


def case_say_fills_in_values():
    say = part("translations").say
    assert say("{n} of {all}", n="{n}", all=3) == "{n} of 3"
    assert say("'{name}' Is Gone", name="100 %s {x}") == "'100 %s {x}' Is Gone"
