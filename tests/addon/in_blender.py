"""Install the extension's zip into this bpy and run all cases; run by the tests, not by pytest.

python in_blender.py ZIP RESULTS.json
"""

import importlib
import json
import os
import sys
import traceback
from pathlib import Path

import bpy

MODULE = "bl_ext.user_default.pourwright"


def install(package: str) -> set[str]:
    """Install and enable; return the modules that this imported."""
    before = set(sys.modules)
    bpy.ops.extensions.package_install_files(
        filepath=package, repo="user_default", enable_on_install=True, overwrite=True
    )
    return set(sys.modules) - before


def main(package: str, results_path: str) -> None:
    imported = install(package)
    here = Path(__file__).resolve().parent
    sys.path.insert(0, str(here))
    results: dict[str, str | None] = {}
    for path in sorted(here.glob("cases_*.py")):
        cases = importlib.import_module(path.stem)
        cases.IMPORTED_ON_INSTALL = imported
        for name in [n for n in vars(cases) if n.startswith("case_")]:
            bpy.ops.wm.read_homefile(use_empty=True)
            try:
                vars(cases)[name]()
                results[name] = None
            except Exception:
                results[name] = traceback.format_exc()
    Path(results_path).write_text(json.dumps(results), encoding="utf-8")
    sys.stdout.flush()
    # The bpy module may crash while an interpreter with loaded extensions shuts down.
    os._exit(0)


if __name__ == "__main__":
    main(*sys.argv[1:3])
