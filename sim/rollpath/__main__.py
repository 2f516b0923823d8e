"""`python -m rollpath` is the command `rollpath`."""

import sys

try:
    from rollpath.cli import main

    sys.exit(main())
except KeyboardInterrupt:
    sys.exit(130)
