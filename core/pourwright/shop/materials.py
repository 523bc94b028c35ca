"""The shop's own materials: a folder of preset files beside the generic families.

Files named resin*.toml hold resins, one table each, as resins.toml of this room does; files named
silicone*.toml are for the mould and are left to it. A preset of the shop's own goes before a
generic one of the same name.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from pourwright.errors import InputError
from pourwright.shop.resin import Resin, read_resins, resins

MAX_FILE_BYTES = 1_000_000
FOLDER_VARIABLE = "POURWRIGHT_MATERIALS"


def default_folder() -> Path:
    """Return where a user's presets are looked for; the folder need not exist.

    The variable POURWRIGHT_MATERIALS, else the place the system has for an application's files.
    """
    named = os.environ.get(FOLDER_VARIABLE)
    if named:
        return Path(named)
    if sys.platform == "win32":
        root = Path(os.environ.get("APPDATA") or Path.home() / "AppData" / "Roaming")
    elif sys.platform == "darwin":
        root = Path.home() / "Library" / "Application Support"
    else:
        root = Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config")
    return root / "pourwright" / "materials"


def read_materials(folder: Path | None = None) -> dict[str, Resin]:
    """Return the generic resins and those of a folder, by name.

    folder : None for the generic ones alone. Raises InputError that names file, table and key for
    a folder that is not there, a file that is of no kind known here, two presets of one name, and
    all that `read_resins` refuses.
    """
    found = resins()
    if folder is None:
        return found
    own: dict[str, Path] = {}
    for path in preset_files(folder, "resin"):
        for name, resin in read_resins(_text(path), str(path)).items():
            if name in own:
                raise InputError(
                    f"{path}: '{name}' is in {own[name].name} as well", hint="rename one of them"
                )
            own[name] = path
            found[name] = resin
    return found


def preset_files(folder: Path, kind: str) -> list[Path]:
    """Return the folder's files of a kind, "resin" or "silicone", by name.

    Raises InputError for a folder that is not there and for a TOML file of neither kind, which
    would else be overlooked.
    """
    try:
        if not folder.exists():
            raise InputError(f"There is no folder {folder}", hint="check the name of the materials")
        if not folder.is_dir():
            raise InputError(f"{folder} is a file", hint="give the folder of the materials")
        files = sorted(p for p in folder.iterdir() if p.suffix.lower() == ".toml")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(f"The folder {folder} cannot be read: {reason}") from error
    for path in files:
        if not path.name.lower().startswith(("resin", "silicone")):
            raise InputError(
                f"{path} does not say what it holds",
                hint="name it resin-....toml or silicone-....toml",
            )
    return [path for path in files if path.name.lower().startswith(kind)]


def _text(path: Path) -> str:
    try:
        with path.open("rb") as stream:
            data = stream.read(MAX_FILE_BYTES + 1)
        if len(data) > MAX_FILE_BYTES:
            raise InputError(f"{path} is too big for a file of materials", hint="give a TOML file")
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"{path} is not UTF-8 text", hint="save it as UTF-8") from error
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise InputError(f"{path} cannot be read: {reason}") from error
