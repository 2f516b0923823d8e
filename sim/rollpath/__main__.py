"""`python -m rollpath` is the command `rollpath`."""

import sys

from rollpath.cli import main

sys.exit(main())
