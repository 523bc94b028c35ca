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
_CHUNK = 2**20
# NotImplementedError is how zipfile says that a package asks for a newer version of the format.
_UNREADABLE = (
    zipfile.BadZipFile, zlib.error, OSError, EOFError, ValueError, NotImplementedError,
)  # fmt: skip
# XML may be UTF-16 too, where the same word has other bytes.
_DTD = tuple("<!DOCTYPE".encode(code) for code in ("utf-8", "utf-16-le", "utf-16-be"))
_OVERLAP = max(map(len, _DTD)) - 1


def check_package(path: Path, data: bytes) -> None:
    """Raise InputError for a zip bomb, an encrypted or oddly packed part, or XML with a DTD.

    3MF Core 1.3 allows deflated and stored parts only and no document type definitions, which is
    where entities that multiply or that name other files come from. Sizes are those the zip
    states; zipfile never unpacks more than it states.
    """
    hint = "export the model again"
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            parts = package.infolist()
            unpacked = sum(part.file_size for part in parts)
            if unpacked > MAX_BYTES or unpacked > max(_SMALL_BYTES, MAX_RATIO * len(data)):
                raise InputError(
                    f"{path} would unpack from {len(data)} to {unpacked} bytes", hint=hint
                )
            for part in parts:
                if part.compress_type not in _METHODS or part.flag_bits & 1:
                    raise InputError(
                        f"{path}: its part '{part.filename}' is encrypted or packed in a way that "
                        "3MF does not allow",
                        hint=hint,
                    )
                if part.filename.lower().endswith((".model", ".rels", ".xml")):
                    _refuse_dtd(path, package, part, hint)
    except _UNREADABLE as error:
        raise InputError(f"{path} cannot be read as 3MF: {error}", hint=hint) from error


def _refuse_dtd(
    path: Path, package: zipfile.ZipFile, part: zipfile.ZipInfo, hint: str
) -> None:
    tail = b""
    with package.open(part) as stream:
        while chunk := stream.read(_CHUNK):
            seen = tail + chunk
            if any(word in seen for word in _DTD):
                raise InputError(
                    f"{path}: its part '{part.filename}' defines a document type, which 3MF "
                    "forbids",
                    hint=hint,
                )
            tail = seen[-_OVERLAP:]
