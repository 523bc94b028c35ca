"""Reduce pictures of the windowed Blender to 256 colours: a third of the size, no eye can tell.

python tests/gui/reduce.py FROM_FOLDER TO_FOLDER
"""

import sys
from pathlib import Path

from PIL import Image


def main(source: Path, target: Path) -> None:
    for path in sorted(source.glob("*.png")):
        with Image.open(path) as picture:
            picture.convert("RGB").quantize(256).save(target / path.name, optimize=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
