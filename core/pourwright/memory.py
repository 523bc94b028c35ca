"""Memory that is freed goes back to the system at once."""

from __future__ import annotations

import ctypes
import sys

# From this size on a block is the system's own and goes back when it is freed.
_LARGE_BYTES = 4 * 2**20
# malloc.h of the GNU C library.
_M_MMAP_THRESHOLD = -3


def give_back_early() -> None:
    """Have large blocks go back to the system as soon as they are freed; for a process of our own.

    The GNU C library raises its limit for that with each larger block that is freed, up to 32 MiB,
    and keeps what is smaller for later (man 3 mallopt). So a process that unites large meshes and
    then looks at their air would hold the memory of both. Other C libraries are left alone.
    """
    if sys.platform != "linux":
        return
    try:
        ctypes.CDLL(None).mallopt(_M_MMAP_THRESHOLD, _LARGE_BYTES)
    except (OSError, AttributeError):
        return
