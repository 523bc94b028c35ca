"""What enabling the extension costs Blender: `python tests/bench/bench_register.py EXTENSION.zip`.

Runs with a Python that has bpy. Every run is a fresh process: Blender starts first, then the
extension's modules are imported and register() is called. That is timed, by the clock and by the
processor, and Blender's own start for comparison: a busy machine slows down both. The first run
compiles the modules and is left out. Exits with 1 where the median by the clock is over the limit
or a heavy library was imported.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

LIMIT_S = 0.15
HEAVY = {"scipy", "trimesh", "manifold3d", "jinja2", "lxml", "networkx"}

INSTALL = """
import os, sys, bpy
bpy.ops.extensions.package_install_files(
    filepath=sys.argv[1], repo="user_default", enable_on_install=True, overwrite=True)
sys.stdout.flush()
os._exit(0)  # bpy may crash on its way out
"""
ENABLE = """
import importlib, json, os, sys, time
first = time.perf_counter()
import bpy
before = set(sys.modules)
start, worked = time.perf_counter(), time.thread_time()
extension = importlib.import_module("bl_ext.user_default.pourwright")
imported = time.perf_counter()
extension.register()
done, worked = time.perf_counter(), time.thread_time() - worked
new = sorted(set(sys.modules) - before)
found = [imported - start, done - imported, worked, start - first, new]
print("FOUND" + json.dumps(found), flush=True)
os._exit(0)
"""


def main() -> int:
    """Print both medians and what was imported."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("zip", type=Path, help="the built extension")
    parser.add_argument("--runs", type=int, default=10)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        env = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
        env["BLENDER_USER_RESOURCES"] = folder
        _run(env, INSTALL, str(options.zip.resolve()))
        runs = [_enable(env) for _ in range(options.runs + 1)][1:]
    imports, registers, worked, blender = ([run[i] for run in runs] for i in range(4))
    both = [a + b for a, b in zip(imports, registers, strict=True)]
    rows = {"import": imports, "register()": registers, "both": both,
            "processor": worked, "Blender": blender}  # fmt: skip
    for name, times in rows.items():
        print(f"{name:12} {1e3 * statistics.median(times):7.1f} ms "
              f"({1e3 * min(times):.1f} to {1e3 * max(times):.1f}, {len(times)} runs)")
    new = runs[-1][4]
    ours = [name for name in new if "pourwright" in name]
    others = sorted({name.partition(".")[0] for name in new} - {"bl_ext", "pourwright"})
    print(f"{len(new)} modules, {len(ours)} of them the extension's and the core's")
    print(f"also imported: {', '.join(others)}")
    heavy = HEAVY & set(others)
    if heavy:
        print(f"heavy: {', '.join(sorted(heavy))}")
    return int(bool(heavy) or statistics.median(both) > LIMIT_S)


def _enable(env: dict[str, str]) -> list:
    said = _run(env, ENABLE)
    return json.loads(said[said.index("FOUND") + 5 :].splitlines()[0])


def _run(env: dict[str, str], code: str, *arguments: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        env=env, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode:
        raise SystemExit(done.stdout + done.stderr)
    return done.stdout


if __name__ == "__main__":
    raise SystemExit(main())
