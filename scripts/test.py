"""Check the whole project in its own environment: style, types, tests.

python3 scripts/test.py [pytest options]
"""

import shutil
import sys

from environment import run

CHECKS = (
    ("-m", "ruff", "check", "sim", "scripts", "tests"),
    ("-m", "ruff", "format", "--check", "sim", "scripts", "tests"),
    ("-m", "mypy"),
)


BROWSERS = ("chromium", "chromium-browser")
"""Commands of the browser that the pages are tried in, where one is there."""


def main() -> int:
    if not any(map(shutil.which, BROWSERS)):
        print("no chromium here: the pages are tested without a browser", flush=True)
    options = sys.argv[1:] or ["-n", "2"]
    extras = ("page", "test")
    statuses = [run(*check, extras=extras) for check in CHECKS]
    statuses.append(run("-m", "pytest", *options, extras=extras))
    return max(statuses)


if __name__ == "__main__":
    sys.exit(main())
