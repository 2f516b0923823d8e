"""The page on a strange network: who is let in, whose forms are taken, and what never reaches the
disk."""

import os
import re
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from io import BytesIO
from itertools import pairwise, product

import pytest

pytest.importorskip("flask")

from page_helpers import Phone, words
from rollpath.cli import main
from rollpath.page.guard import COOKIE, KEY_LENGTH, LETTERS, Guard, new_key

KEY = "abcd2345"
PAGES = ("/", "/tires", "/tires/lr", "/rack", "/rack?tire=R7", "/bite", "/plan", "/debrief",
         "/book", "/survey", "/trailer", "/static/page.css", "/static/page.js",
         "/tonight.svg", "/nothing")  # fmt: skip


@pytest.fixture
def shared(phone, app_of):
    """A phone of somebody who has no key yet."""
    return Phone(app_of(KEY))


# The key


def test_without_the_key_there_is_nothing_but_ask_the_crew(shared):
    for address in PAGES:
        answer = shared.see(address)
        assert answer.status_code == 403
        assert "Ask the crew" in words(answer)
        assert "Kettle" not in answer.text
        assert "token" not in answer.text


def test_the_scanned_address_lets_a_phone_in_for_the_evening(shared):
    answer = shared.see(f"/?key={KEY}")
    assert answer.status_code == 200
    cookie = answer.headers["Set-Cookie"]
    assert {"HttpOnly", "SameSite=Strict"} <= set(re.split(r"; ?", cookie))
    assert KEY not in cookie  # the cookie is longer than a key, so guessing it is hopeless
    assert len(cookie.partition("=")[2].partition(";")[0]) >= 32
    for address in PAGES[:-1]:
        assert shared.see(address).status_code == 200


def test_the_key_can_be_typed_on_a_phone_without_a_camera(shared):
    answer = shared.client.post("/", data={"key": f" {KEY.upper()} "}, **shared.more)
    assert "You are in" in words(answer)
    assert shared.see("/tires").status_code == 200


def test_ten_wrong_keys_lock_for_a_minute_and_others_are_not_locked_out(phone, app_of):
    now = [0.0]
    app = app_of(KEY, clock=lambda: now[0])
    stranger, mate = Phone(app, address="192.168.7.66"), Phone(app, address="192.168.7.5")
    inside = Phone(app, address="192.168.7.66")
    assert inside.see(f"/?key={KEY}").status_code == 200
    for i in range(10):
        assert stranger.see(f"/?key=wrong{i}").status_code == 403
    assert "Wait a minute" in words(stranger.see(f"/?key={KEY}"))
    assert inside.see("/").status_code == 200  # whoever is in stays in
    assert mate.see(f"/?key={KEY}").status_code == 200
    now[0] = 59.0
    assert stranger.see(f"/?key={KEY}").status_code == 403
    now[0] = 61.0
    assert stranger.see(f"/?key={KEY}").status_code == 200


def test_an_old_cookie_is_no_wrong_key(shared):
    shared.client.set_cookie(COOKIE, "of-last-night", domain="localhost")
    for _ in range(15):
        assert shared.see("/").status_code == 403
    assert shared.see(f"/?key={KEY}").status_code == 200


def test_a_key_is_another_every_evening_and_can_be_read_aloud():
    keys = {new_key() for _ in range(200)}
    assert len(keys) == 200
    assert all(len(key) == KEY_LENGTH and set(key) <= set(LETTERS) for key in keys)
    assert not set("0o1il") & set(LETTERS)
    # 128 bits are the least for what is guessed without a limit (OWASP, Session Management);
    # a key is guessed ten times a minute: forty years of it find one in a thousand.
    assert len(LETTERS) ** KEY_LENGTH > 1000 * 10 * 60 * 24 * 365 * 40


def test_counting_wrong_keys_takes_no_more_memory_however_many_ask():
    guard = Guard(("x",), KEY)
    for i in range(3000):
        guard.opens(f"10.0.{i // 256}.{i % 256}", "wrong")
    assert len(guard._wrong) <= 1000


# Forms


def test_a_form_of_another_page_is_not_taken(phone, folder):
    before = (folder / "trailer.yaml").read_bytes()
    kept = phone.kept("/")
    told = {**kept, "surface": "slick"}
    foreign = [
        {"Origin": "http://evil.example"}, {"Origin": "null"},
        {"Referer": "http://evil.example/x"}, {"Origin": "http://localhost:81"},
    ]  # fmt: skip
    for headers in foreign:
        answer = phone.client.post("/tonight", data=told, headers=headers, **phone.more)
        assert answer.status_code == 403, headers
    for token in ("", "x", kept["token"][:-1]):
        answer = phone.client.post("/tonight", data={**told, "token": token}, **phone.more)
        assert answer.status_code == 403
    assert (folder / "trailer.yaml").read_bytes() == before
    ours = {"Origin": "http://localhost"}
    assert phone.client.post("/tonight", data=told, headers=ours, **phone.more).status_code == 303


@pytest.mark.parametrize("path", ["//evil.example/x", "///evil.example", "/\\\\evil.example"])
def test_no_form_leads_to_another_machine(phone, path):
    kept = phone.kept("/")
    for token in (kept["token"], "old"):
        answer = phone.client.post(f"http://localhost{path}", data={**kept, "token": token})
        places = [answer.headers.get("Location", ""), *re.findall(r'href="([^"]*)"', answer.text)]
        assert not [one for one in places if re.match(r"[/\\]{2}|\w+:", one)]


def test_another_name_for_this_machine_is_refused(phone, app_of):
    for host in ("evil.example", "localhost.evil.example", "localhost:81", "127.0.0.1"):
        assert Phone(phone.client.application, host).see("/").status_code == 400


def test_to_look_changes_nothing(phone, app_of, folder):
    there = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    looking = Phone(app_of(look=True))
    for address in PAGES[:11]:
        answer = looking.see(address)
        assert answer.status_code == 200
        assert 'method="post"' not in answer.text
    kept = phone.kept("/")
    for address in ("/tonight", "/undo", "/tires/lr", "/bite", "/book", "/survey", "/trailer",
                    "/rack", "/debrief", "/survey/log"):  # fmt: skip
        answer = looking.send(address, kept=kept, surface="slick", tire="L5", best_lap="22")
        assert answer.status_code == 403
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == there


# What is answered


def test_every_answer_forbids_foreign_content(phone):
    for address in (*PAGES, "/%00", "/static/../guard.py", "/static/%2e%2e/guard.py"):
        answer = phone.see(address)
        assert "default-src" in answer.headers["Content-Security-Policy"]
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["X-Frame-Options"] == "DENY"
        assert "Traceback" not in answer.text
        if answer.mimetype == "text/html":
            assert not re.search(
                r"<script(?! src=\"/static/)|\son\w+=|\sstyle=|<style", answer.text
            )
            assert not re.findall(r"(?:src|href|action)=\"(?!/)[^\"]", answer.text)


@pytest.mark.parametrize("name", ["../../etc/passwd", "..", "a/b", "C:\\x", "con", "\x00", "."])
def test_no_name_that_is_typed_is_a_path(phone, folder, tmp_path, name):
    taped = {"chord": "100", "gap": "6.75", "straight": "320", "width": "50"}
    outside = {path for path in tmp_path.rglob("*") if folder not in path.parents}
    phone.send("/survey", **taped, name=name)
    phone.see("/survey", query_string={"log": name})
    phone.see(f"/tires/{name}")
    assert {path for path in tmp_path.rglob("*") if folder not in path.parents} == outside
    assert {path.parent for path in folder.rglob("*.yaml")} <= {folder, folder / "tracks"}


def test_a_file_that_is_too_large_or_hostile_is_refused_in_a_sentence(phone, folder):
    kept = phone.kept("/survey")
    bomb = b'<!DOCTYPE x [<!ENTITY a "aaaa">]><gpx>&a;</gpx>'
    for address, (data, line) in product(("/survey/log", "/debrief"), (
        (b"x" * (9 << 20), "at most 8 MB"), (bomb, "the log"), (b"\x00\xff" * 50, "the log"),
    )):  # fmt: skip
        sent = {**kept, "file": (BytesIO(data), "walk.gpx")}
        answer = phone.client.post(address, data=sent, **phone.more)
        assert answer.status_code == 303
        told = phone.see(answer.location)
        assert line in words(told)
        assert "Traceback" not in told.text
    assert not list(folder.rglob("*.log"))
    for token in ("", "x"):
        sent = {"token": token, "file": (BytesIO(b"time,x (m),y (m)\n"), "run.csv")}
        assert phone.client.post("/debrief", data=sent, **phone.more).status_code == 403


# The command


def test_the_command_serves_at_once_and_to_this_machine_alone(phone, folder):
    """Opened as a racer opens it, on a port that is free."""
    import socket

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "rollpath", "page", "--port", str(port)]
    child = subprocess.Popen(
        command, cwd=folder, env=os.environ, stdout=subprocess.PIPE, text=True
    )  # fmt: skip
    try:
        told = child.stdout.readline()
        assert told.strip() == f"Open http://127.0.0.1:{port}/"
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=20) as answer:
            assert b"rear stagger" in answer.read()
            assert "Server" not in answer.headers
        listening = _listening(port)
        assert listening <= {"0100007F"}, listening
        with pytest.raises(urllib.error.HTTPError):
            urllib.request.urlopen(f"http://127.0.0.1:{port}/", b"surface=slick")
        second = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=20)
        assert second.returncode == 2
        assert second.stderr.startswith(f"rollpath: port {port} cannot be used")
    finally:
        child.send_signal(signal.SIGINT)
        assert child.wait(10) in (0, 130)


def _listening(port):
    """Addresses on which a port is listened to, as Linux tells them; empty elsewhere."""
    try:
        lines = open("/proc/net/tcp").read().splitlines()[1:]  # noqa: PTH123, SIM115
    except OSError:
        return set()
    found = [line.split()[1:4] for line in lines]
    return {at.split(":")[0] for at, _, state in found
            if state == "0A" and int(at.split(":")[1], 16) == port}  # fmt: skip


def test_what_cannot_be_is_one_line(phone, capsys, monkeypatch):
    from rollpath.page import serve

    assert main(["page", "--port", "99999"]) == 2
    assert "expected a port" in capsys.readouterr().err
    monkeypatch.setattr(serve, "FAR_AWAY", ())
    assert main(["page", "--share"]) == 2
    assert "no local network" in capsys.readouterr().err


def test_the_code_to_scan_carries_the_address():
    from rollpath.page.serve import code_to_scan

    lines = code_to_scan("http://192.168.7.2:8420/?key=abcd2345")
    assert len(lines) > 10
    assert all(len(one) == len(other) for one, other in pairwise(lines))
