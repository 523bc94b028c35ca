"""Run the worker by `python -m pourwright.worker JOBDIR`."""

import sys

from pourwright.worker import main

if __name__ == "__main__":
    sys.exit(main())
