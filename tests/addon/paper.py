"""Stands for Blender's layout, which there is none of without a window, and checks what is drawn.

Every call is held against Blender's own description of UILayout: names of functions and of their
parameters, icons and other choices. Properties, operators and lists have to exist.
"""

from types import SimpleNamespace

import bpy
from stage import part

_FUNCTIONS = bpy.types.UILayout.bl_rna.functions
_PROPERTIES = bpy.types.UILayout.bl_rna.properties


class _Button:
    """The operator's properties that a panel sets on its button."""

    def __init__(self, rna):
        object.__setattr__(self, "_rna", rna)

    def __setattr__(self, name, value):
        prop = self._rna.properties[name]
        if prop.type == "ENUM" and prop.enum_items:
            assert value in prop.enum_items, (self._rna.identifier, name, value)


class Paper:
    """A layout that notes what was put on it; layouts within it share its notes."""

    def __init__(self, notes=None):
        notes = notes or {"texts": [], "operators": [], "props": [], "lists": []}
        object.__setattr__(self, "_notes", notes)

    @property
    def text(self):
        return "\n".join(self._notes["texts"])

    def __getattr__(self, name):
        if name in self._notes:
            return self._notes[name]
        if name in _PROPERTIES:
            return True
        known = _FUNCTIONS[name].parameters

        def call(*args, **given):
            order = [p.identifier for p in known if not p.is_output]
            given |= dict(zip(order, args, strict=False))
            for key, value in given.items():
                if key == "msgid_ctxt":
                    continue
                assert key in known, f"layout.{name} takes no {key}"
                if known[key].type == "ENUM" and not known[key].is_enum_flag:
                    assert value in known[key].enum_items, (name, key, value)
            return self._put(name, given)

        return call

    def __setattr__(self, name, value):
        prop = _PROPERTIES[name]
        if prop.type == "ENUM":
            assert value in prop.enum_items, (name, value)

    def _put(self, name, given):
        notes, text = self._notes, given.get("text", given.get("heading", ""))
        assert isinstance(text, str), (name, text)
        if text:
            notes["texts"].append(text)
        if name.startswith("prop"):
            assert given["property"] in given["data"].bl_rna.properties, given
            notes["props"].append((given["data"].bl_rna.identifier, given["property"]))
        elif name.startswith("operator"):
            group, _, function = given["operator"].partition(".")
            rna = getattr(getattr(bpy.ops, group), function).get_rna_type()
            notes["operators"].append(given["operator"])
            return _Button(rna)
        elif name == "template_list":
            self._list(given)
        elif name == "panel":
            return Paper(notes), Paper(notes)
        return Paper(notes)

    def _list(self, given):
        """Draw the rows, too."""
        data, rows = given["dataptr"], getattr(given["dataptr"], given["propname"])
        assert given["active_propname"] in given["active_dataptr"].bl_rna.properties
        cls = _class(given["listtype_name"])
        self._notes["lists"].append((given["listtype_name"], len(rows)))
        drawer = plain(cls)
        drawer.layout_type = "DEFAULT"
        for i, row in enumerate(rows):
            drawer.draw_item(context(), Paper(self._notes), data, row, 0, data,
                             given["active_propname"], i)


def plain(cls):
    """Return an object that has the class's own methods; Blender's classes cannot be made."""
    own = [base for base in reversed(cls.__mro__) if "pourwright" in base.__module__]
    names = {name: value for base in own for name, value in vars(base).items()}
    return type(cls.__name__, (), {k: v for k, v in names.items() if not k.startswith("__")})()


def context():
    """Return Blender's context with a sidebar, which it has not without a window."""
    return _Context()


class _Context:
    def __getattr__(self, name):
        if name == "region":
            return SimpleNamespace(width=100_000)
        if name == "preferences":
            return SimpleNamespace(system=SimpleNamespace(ui_scale=1.0))
        if name == "space_data":
            return next(
                space
                for screen in bpy.data.screens
                for area in screen.areas
                for space in area.spaces
                if space.type == "VIEW_3D"
            )
        return getattr(bpy.context, name)


def panels():
    """Return all panels of the extension, parents first."""
    found = [cls for cls in bpy.types.Panel.__subclasses__() if "ourwright" in cls.__module__]
    return sorted(found, key=lambda c: (hasattr(c, "bl_parent_id"), getattr(c, "bl_order", 0)))


def _class(name):
    (found,) = [c for c in bpy.types.UIList.__subclasses__() if c.__name__ == name]
    return found


def draw(cls):
    """Draw one panel with everything unfolded, where it would be drawn; return the paper."""
    paper, now = Paper(), context()
    if hasattr(cls, "poll") and not cls.poll(now):
        return paper
    panel = plain(cls)
    panel.layout, panel.is_popover = paper, False
    for name in ("draw_header", "draw_header_preset", "draw"):
        if hasattr(panel, name):
            getattr(panel, name)(now)
    return paper


def drawn(name):
    """Draw the panel of that name."""
    (cls,) = [c for c in panels() if c.__name__ == f"POURWRIGHT_PT_{name}"]
    assert cls.bl_category == part("ui").CATEGORY
    return draw(cls)
