"""A crowd of phones on the loopback: how long a page takes, and whether memory stays.

Used by scripts/bench.py, and in small by the tests.
"""

import http.client
import itertools
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

PAGES = (
    "/", "/tires", "/tires/lr", "/bite", "/plan?heat=heavy&feature=slick",
    "/debrief?wheel=left&drifts_out=yes", "/book", "/survey", "/trailer", "/static/page.css",
    "/tonight.svg",
)  # fmt: skip

SIM = Path(__file__).resolve().parent.parent / "sim"
ENVIRONMENT = os.environ | {"PYTHONPATH": str(SIM)}
"""Of what is started: the package of this checkout."""


def crowd(port: int, phones: int, requests: int, pages: Sequence[str] = PAGES) -> list[float]:
    """Seconds that each page took, asked for by so many phones at once; each keeps its line.

    Raises
    ------
    RuntimeError
        If a page is not answered with 200.
    """

    def phone(number: int) -> list[float]:
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        took = []
        for page in itertools.islice(itertools.cycle(pages), number, number + requests // phones):
            start = time.perf_counter()
            line.request("GET", page)
            answer = line.getresponse()
            answer.read()
            took.append(time.perf_counter() - start)
            if answer.status != 200:
                raise RuntimeError(f"{page}: {answer.status}")
        line.close()
        return took

    with ThreadPoolExecutor(phones) as crew:
        return [one for took in crew.map(phone, range(phones)) for one in took]


@contextmanager
def served(folder: Path) -> Iterator[tuple[int, int]]:
    """`rollpath page` as a process of its own: its port and its number."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "rollpath", "page", "--trailer", str(folder),
               "--port", str(port)]  # fmt: skip
    child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=ENVIRONMENT)
    try:
        assert child.stdout is not None
        child.stdout.readline()  # it says where it is once it listens
        yield port, child.pid
    finally:
        child.send_signal(signal.SIGINT)
        child.wait(20)


def memory_of(process: int) -> float:
    """Megabytes that a process holds; 0 where /proc does not tell."""
    try:
        told = Path(f"/proc/{process}/status").read_text()
    except OSError:
        return 0.0
    found = re.search(r"VmRSS:\s+(\d+)", told)
    return int(found[1]) / 1024 if found else 0.0


def set_up(folder: Path) -> None:
    """A trailer to serve."""
    answers = ("--track", "Kettle Bottom", "--radius", "200ft", "--straight", "320ft",
               "--surface", "heavy", "--rear", "83-3/4 86-1/4", "--front", "82-1/2 83-3/4",
               "--pads", "812 741 838 779", "--pressures", "14 18 12 16",
               "--tires", "L5 84-1/2, L6 83, R7 86-1/2, R8 85-3/8")  # fmt: skip
    command = [sys.executable, "-m", "rollpath", "trailer", "--trailer", str(folder), *answers]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=ENVIRONMENT)
