"""What a 3MF file must be before its XML is parsed: a plain zip that does not explode."""

from __future__ import annotations

import io
import zipfile
import zlib
from pathlib import Path

from pourwright.errors import InputError

# A mesh as XML packs to a fifth to a fiftieth; a bomb to a thousandth.
MAX_RATIO = 200
# Small packages may pack as well as they like; none may unpack to more than this.
_SMALL_BYTES, MAX_BYTES = 32 * 2**20, 2 * 2**30
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
# NotImplementedError is how zipfile says that a package asks for a newer version of the format.
UNREADABLE = (
    zipfile.BadZipFile, zlib.error, OSError, EOFError, ValueError, NotImplementedError,
)  # fmt: skip
_HINT = "export the model again"


def open_package(path: Path, data: bytes) -> zipfile.ZipFile:
    """Return the package; InputError for no zip, a bomb, or a part encrypted or oddly packed.

    3MF Core 1.3 allows deflated and stored parts only. Sizes are those the zip states; zipfile
    never unpacks more than it states.
    """
    try:
        package = zipfile.ZipFile(io.BytesIO(data))
        parts = package.infolist()
    except UNREADABLE as error:
        raise InputError(f"{path} cannot be read as 3MF: {error}", hint=_HINT) from error
    unpacked = sum(part.file_size for part in parts)
    if unpacked > MAX_BYTES or unpacked > max(_SMALL_BYTES, MAX_RATIO * len(data)):
        raise InputError(f"{path} would unpack from {len(data)} to {unpacked} bytes", hint=_HINT)
    for part in parts:
        if part.compress_type not in _METHODS or part.flag_bits & 1:
            raise InputError(
                f"{path}: its part '{part.filename}' is encrypted or packed in a way that 3MF "
                "does not allow",
                hint=_HINT,
            )
    return package
