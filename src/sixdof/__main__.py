"""`python -m sixdof`."""

import sys

from sixdof.cli import main

if __name__ == "__main__":  # a process that flies dispersed paths imports this file too
    sys.exit(main())
