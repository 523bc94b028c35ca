"""The worker process: started, watched, stopped, and its results read. No bpy in here.

Heavy work runs in a process of its own because solid booleans hold Python's lock for seconds, and
because a crash in native code must cost a message and not the user's scene.
"""

from __future__ import annotations

import contextlib
import importlib.util
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

WORKER_MODULE = "pourwright.worker"
# What the worker imports; the folders they are found in make its search path.
NEEDED = ("pourwright", "manifold3d", "scipy", "trimesh", "jinja2", "markupsafe", "numpy")
READ_WITHIN_S = 60.0  # a result, after the worker's end
GRACE_S = 0.3  # for a worker that is writing files to tidy up before it is killed


class JobError(Exception):
    """Something the user should read; `at_mm` is a place in the standing frame or None."""

    def __init__(self, message: str, at_mm: Sequence[float] | None = None):
        super().__init__(message)
        self.message = message
        self.at_mm = None if at_mm is None else tuple(float(c) for c in at_mm)


@dataclass(frozen=True)
class Outcome:
    """What a worker left behind: its result and the arrays of the meshes it made."""

    status: int
    result: dict[str, Any]
    arrays: dict[str, Any] = field(default_factory=dict)


def interpreter() -> str:
    """Return the Python program that belongs to the running interpreter."""
    version = f"{sys.version_info.major}.{sys.version_info.minor}"
    named = Path(sys.executable or "")
    if named.is_file() and named.stem.lower().startswith("python"):
        return str(named)
    names = [f"python{version}", "python3", "python", "python.exe"]
    folders = [Path(p) / sub for p in (sys.prefix, sys.base_exec_prefix) for sub in ("bin", "")]
    for candidate in (folder / name for folder in folders for name in names):
        if candidate.is_file():
            return str(candidate)
    on_path = shutil.which(f"python{version}")
    if on_path:
        return on_path
    raise JobError(
        f"The Python {version} program that belongs to this Blender was not found; "
        "install Blender again from its official package"
    )


def search_path(modules: Sequence[str] = NEEDED) -> str:
    """Return a PYTHONPATH with the folders that hold `modules`, without importing them."""
    folders: list[str] = []
    for name in modules:
        spec = importlib.util.find_spec(name)
        if spec is None or not spec.origin:
            raise JobError(
                f"The Python module '{name}' is missing; "
                "install the extension again for this platform and Blender version"
            )
        origin = Path(spec.origin)
        folder = origin.parent.parent if spec.submodule_search_locations else origin.parent
        if str(folder) not in folders:
            folders.append(str(folder))
    return os.pathsep.join(folders)


class WorkerJob:
    """One run of the worker in a temporary folder of its own.

    task : JSON-ready settings, with "task" naming what to do.
    arrays : numpy arrays for meshes.npz.
    temp_root : folder in which the job's folder is made, or None for the system's.
    """

    def __init__(
        self,
        task: Mapping[str, Any],
        arrays: Mapping[str, Any],
        *,
        temp_root: str | None = None,
        module: str = WORKER_MODULE,
        path: str | None = None,
    ):
        self.fraction = 0.0
        self.text = "Starting"
        self._closed = False
        self.started = time.monotonic()
        self._ended = 0.0
        self._held: dict[str, Any] | None = None
        # Everything that may fail comes first, so that no folder is left behind.
        program, pythonpath = interpreter(), search_path() if path is None else path
        self.folder = Path(tempfile.mkdtemp(prefix="pourwright-", dir=temp_root or None))
        try:
            self._write(task, arrays)
            self.process = self._launch(program, module, pythonpath)
        except BaseException as error:
            shutil.rmtree(self.folder, ignore_errors=True)
            if isinstance(error, OSError):
                raise JobError(f"The worker process cannot be started: {error}") from error
            raise
        self._reader = threading.Thread(target=self._read, name="pourwright-reader", daemon=True)
        self._reader.start()

    def _write(self, task: Mapping[str, Any], arrays: Mapping[str, Any]) -> None:
        import numpy as np

        (self.folder / "job.json").write_text(json.dumps(task), encoding="utf-8")
        np.savez(self.folder / "meshes.npz", **arrays)

    def _launch(self, program: str, module: str, pythonpath: str) -> subprocess.Popen[str]:
        env = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
        env["PYTHONPATH"] = pythonpath
        env["PYTHONUTF8"] = "1"
        # What it leaves behind when it is killed lies in the folder that is removed afterwards.
        env |= dict.fromkeys(("TMPDIR", "TEMP", "TMP"), str(self.folder))
        own_group: dict[str, Any] = {"start_new_session": True}
        if sys.platform == "win32":
            flags = subprocess.CREATE_NEW_PROCESS_GROUP | subprocess.CREATE_NO_WINDOW
            own_group = {"creationflags": flags}
        with (self.folder / "stderr.txt").open("wb") as errors:
            return subprocess.Popen(
                [program, "-s", "-P", "-m", module, str(self.folder)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=errors,
                cwd=self.folder,
                env=env,
                text=True,
                encoding="utf-8",
                errors="replace",
                **own_group,
            )

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            try:
                said = json.loads(line)
                self.fraction = min(max(float(said["fraction"]), 0.0), 1.0)
                self.text = str(said["text"])
            except (ValueError, KeyError, TypeError):
                continue  # a library printed something; it is no progress
        # Here, because a million triangles take longer to read than a window may stand still.
        with contextlib.suppress(Exception):  # what is wrong with them is found out by `outcome`
            self._held = self._arrays()

    @property
    def running(self) -> bool:
        """Whether the worker is still at it, or its result is still being read."""
        status = self.process.poll()
        if status is None:
            return True
        self._ended = self._ended or time.monotonic()
        # Of one that crashed there is nothing to read, and helpers may hold its output open.
        reading = status in (0, 1) and time.monotonic() - self._ended < READ_WITHIN_S
        return reading and self._reader.is_alive()

    @property
    def _working(self) -> bool:
        return self.process.poll() is None

    @property
    def seconds(self) -> float:
        """Time since the start."""
        return time.monotonic() - self.started

    def stop(self, grace_s: float = 0.0) -> None:
        """End the worker and everything it started; ask first when `grace_s` is above zero."""
        if self._working and grace_s > 0.0:
            with contextlib.suppress(OSError):
                self.process.stdin.close()
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.process.wait(grace_s)
        if self._working:
            self._kill_all()
            with contextlib.suppress(subprocess.TimeoutExpired):
                self.process.wait(5.0)
        self.close()

    def _kill_all(self) -> None:
        """End the worker and the helpers that it started, at once."""
        with contextlib.suppress(OSError):
            if sys.platform == "win32":
                self.process.kill()
            else:
                os.killpg(self.process.pid, signal.SIGKILL)

    def close(self) -> None:
        """Remove the job's folder; safe to call twice."""
        if not self._closed:
            self._closed = True
            self._kill_all()  # a worker that crashed may have left helpers at work
        for pipe in (self.process.stdin, self.process.stdout):
            with contextlib.suppress(OSError):
                if pipe is not self.process.stdout or not self._reader.is_alive():
                    pipe.close()
        shutil.rmtree(self.folder, ignore_errors=True)

    def outcome(self) -> Outcome:
        """Read the finished worker's result; raises JobError for a refusal or a crash."""
        self._reader.join(2.0)
        status = self.process.returncode
        try:
            result = json.loads((self.folder / "result.json").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            raise JobError(self._crash_text(status)) from None
        if "error" in result:
            raise JobError(result["error"]["message"], result["error"].get("at_mm"))
        if status not in (0, 1):
            raise JobError(self._crash_text(status))
        return Outcome(status, result, self._arrays() if self._held is None else self._held)

    def _arrays(self) -> dict[str, Any]:
        import numpy as np

        path = self.folder / "result.npz"
        if not path.exists():
            return {}
        with np.load(path, allow_pickle=False) as stored:
            return {name: stored[name] for name in stored.files}

    def _crash_text(self, status: int | None) -> str:
        lines: list[str] = []
        with contextlib.suppress(OSError):
            text = (self.folder / "stderr.txt").read_text(encoding="utf-8", errors="replace")
            lines = [line.strip() for line in text.splitlines() if line.strip()]
        if status is not None and status < 0:
            with contextlib.suppress(ValueError):
                return (
                    f"The worker process was ended by {signal.Signals(-status).name}; "
                    "nothing was changed; check that there is enough memory and try again"
                )
        last = f" ({lines[-1][:200]})" if lines else ""
        return f"The worker process failed with status {status}{last}; nothing was changed"
