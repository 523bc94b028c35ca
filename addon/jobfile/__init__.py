"""Job files: the settings of a job, out of Blender and into it, as the shell reads them."""

from . import operators, panel

classes = (*operators.classes, *panel.classes)
