"""Which Blenders there are to test in."""

import importlib.util
import os
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]


def interpreters() -> list[str]:
    """Return the Python programs with bpy to test in."""
    listed = os.environ.get("POURWRIGHT_BPY_PYTHONS", "")
    found = [p for p in listed.split(os.pathsep) if p]
    if not found and importlib.util.find_spec("bpy") is not None:
        found = [sys.executable]
    return found
