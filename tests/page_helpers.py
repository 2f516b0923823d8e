"""A trailer, its pages as a phone asks for them, and what their forms carry."""

import re
import threading
from contextlib import contextmanager, suppress
from html import unescape

from rollpath.page.app import make_app
from rollpath.page.desk import Desk
from rollpath.page.guard import Guard

ANSWERS = {
    "track": "Kettle Bottom", "radius": "200", "straight": "320", "surface": "heavy",
    "rear_left": "83", "rear_left_part": "3/4", "rear_right": "86", "rear_right_part": "1/4",
    "front_left": "82", "front_left_part": "1/2", "front_right": "83", "front_right_part": "3/4",
    "pads_lf": "812", "pads_rf": "741", "pads_lr": "838", "pads_rr": "779",
    "pressures_lf": "14", "pressures_rf": "18", "pressures_lr": "12", "pressures_rr": "16",
    "power": "340", "tire_1": "L5", "tire_1_size": "84", "tire_1_size_part": "1/2",
    "tire_2": "L6", "tire_2_size": "83", "tire_3": "R7", "tire_3_size": "86",
    "tire_3_size_part": "1/2", "tire_4": "R8", "tire_4_size": "85", "tire_4_size_part": "3/8",
}  # fmt: skip
"""The first night of the README, as it is typed on a phone: no unit among it."""
TYPED = (
    "trailer", "--track", "Kettle Bottom", "--radius", "200 ft", "--straight", "320 ft",
    "--surface", "heavy", "--rear", "83 3/4, 86 1/4", "--front", "82 1/2, 83 3/4",
    "--pads", "812 741 838 779", "--pressures", "14 18 12 16", "--power", "340 hp",
    "--tires", "L5 84 1/2, L6 83, R7 86 1/2, R8 85 3/8",
)  # fmt: skip
"""The same at a terminal."""
KEPT = ("token", "seen", "since", "once")


class Phone:
    """A phone that asks for pages and sends their forms."""

    def __init__(self, app, host="localhost", address="192.168.7.9"):
        self.client = app.test_client()
        self.more = {"base_url": f"http://{host}", "environ_overrides": {"REMOTE_ADDR": address}}

    def see(self, address, **more):
        return self.client.get(address, **self.more, **more)

    def kept(self, page):
        """What the forms of a page carry unseen."""
        told = self.see(page).text
        found = {name: re.search(f'name="{name}" value="([^"]*)"', told) for name in KEPT}
        return {name: one[1] for name, one in found.items() if one}

    def send(self, address, page=None, kept=None, **typed):
        """Fill a form of a page and send it."""
        kept = self.kept(page or address) if kept is None else kept
        return self.client.post(address, data={**kept, **typed}, **self.more)

    def refused(self, *address, **typed):
        """Send a form that is not taken: the page that says why, at an address of its own."""
        sent = self.send(*address, **typed)
        assert sent.status_code == 303, sent.status_code
        assert "told=" in sent.location, sent.location
        return self.see(sent.location)


def words(response):
    """The text of a page, as a person reads it."""
    text = re.sub(r"<(script|style|head).*?</\1>", " ", response.text, flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", text)).replace("\xa0", " ").split())


def pages_of(folder, key="", look=False, **more):
    """The pages of a folder, as they are asked for under one name."""
    return make_app(Desk(folder, look=look), Guard(("localhost",), key, look, **more))


@contextmanager
def on_the_loopback(folder):
    """The pages of a folder, really served: the port."""
    from waitress import create_server

    server = create_server(lambda *call: app(*call), host="127.0.0.1", port=0, threads=8)
    app = make_app(Desk(folder), Guard((f"127.0.0.1:{server.effective_port}",)))

    def run():
        with suppress(OSError, ValueError):  # closed under its hands at the end
            server.run()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    try:
        yield server.effective_port
    finally:
        server.close()
        thread.join(5)
