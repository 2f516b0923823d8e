"""`python -m sim` is the command `rollpath`."""

import sys

from sim.cli import main

sys.exit(main())
