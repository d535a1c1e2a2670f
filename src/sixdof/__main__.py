"""`python -m sixdof`."""

import sys

from sixdof.cli import main

sys.exit(main())
