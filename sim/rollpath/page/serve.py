"""The pages served: to this laptop alone, or to the phones around it for an evening."""

import logging
import socket
from collections.abc import Callable
from pathlib import Path

from rollpath.errors import RollpathError
from rollpath.page.app import LARGEST_FORM, make_app
from rollpath.page.desk import PHONE, Desk
from rollpath.page.guard import Guard, new_key
from rollpath.screen import Screen

HERE = "127.0.0.1"
THREADS = 8
FAR_AWAY = ("192.168.255.254", "10.255.255.254", "172.31.255.254", "192.0.2.1")
"""Addresses towards which this machine's own is looked for; nothing is sent there."""


def serve(
    folder: Path,
    port: int,
    told: Callable[[str], None],
    *,
    share: bool = False,
    look: bool = False,
    screen: Screen = PHONE,
) -> None:
    """Serve the pages of a trailer until Ctrl-C.

    Parameters
    ----------
    folder : Path
    port : int
    told : callable
        Given each line for whoever sits at the laptop.
    share : bool
        To the local network, with a new key.
    look : bool
        Nobody may change anything.
    screen : Screen

    Raises
    ------
    RollpathError
        If there is no network, or the port is taken.
    """
    from waitress import create_server

    # A crowd waits its turn, and who hangs up is no fault; our own faults the pages tell.
    logging.getLogger("waitress").setLevel(logging.CRITICAL)
    address = local_address() if share else HERE
    key = new_key() if share else ""
    names = dict.fromkeys([HERE, "localhost", address])
    hosts = tuple(f"{name}:{port}" for name in names) + (tuple(names) if port == 80 else ())
    app = make_app(Desk(folder, screen, look), Guard(hosts, key, look))
    try:
        server = create_server(
            app, listen=" ".join(f"{one}:{port}" for one in dict.fromkeys([HERE, address])),
            threads=THREADS, ident="", max_request_body_size=2 * LARGEST_FORM,
        )  # fmt: skip
    except OSError as error:
        raise RollpathError(
            f"port {port} cannot be used ({error.strerror or error}); another: --port {port + 1}"
        ) from None
    where = f"http://{address}:{port}/" + (f"?key={key}" if key else "")
    told(f"Open {where}")
    if share:
        for line in code_to_scan(where):
            told(line)
        told(f"The key is {key}, for tonight; whoever has it is let in.")
    told("Ctrl-C stops.")
    try:
        server.run()
    finally:
        server.close()


def local_address() -> str:
    """This machine's address on the local network.

    Raises
    ------
    RollpathError
        If it is on none.
    """
    for far in FAR_AWAY:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as looking:
            try:
                looking.connect((far, 9))
                name = str(looking.getsockname()[0])
            except OSError:
                continue
        if name and not name.startswith(("127.", "0.")):
            return name
    raise RollpathError("no local network here; open a hotspot on a phone or the laptop first")


def code_to_scan(where: str) -> list[str]:
    """A code that carries an address, for a terminal."""
    import io

    import segno

    lines = io.StringIO()
    segno.make(where, error="m").terminal(lines, compact=True)
    return lines.getvalue().splitlines()
