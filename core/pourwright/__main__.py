"""Run the command line by `python -m pourwright`."""

import sys

from pourwright.cli import main

if __name__ == "__main__":
    sys.exit(main())
