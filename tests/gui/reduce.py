"""Reduce pictures of the windowed Blender to 256 colours: a third of the size, no eye can tell.

python tests/gui/reduce.py FROM_FOLDER TO_FOLDER

Only those that the documents beside TO_FOLDER or the README show are taken.
"""

import re
import sys
from pathlib import Path

from PIL import Image


def shown(target: Path) -> set[str]:
    """Return the paths in `target` that documents refer to."""
    texts = [*target.parent.glob("*.md"), *target.parent.parent.glob("*.md")]
    links = [re.findall(rf"{target.name}/([^)\s]+\.png)", text.read_text("utf-8"))
             for text in texts]  # fmt: skip
    return {link for found in links for link in found}


def main(source: Path, target: Path) -> None:
    for name in sorted(shown(target)):
        if not (source / name).exists():
            continue
        (target / name).parent.mkdir(parents=True, exist_ok=True)
        with Image.open(source / name) as picture:
            # The usual way gives the greys all colours, and a ring of few pixels is blue no more;
            # without the last step the greys are tinted.
            few = picture.convert("RGB").quantize(256, Image.Quantize.MAXCOVERAGE, kmeans=1)
            few.save(target / name, optimize=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve())
