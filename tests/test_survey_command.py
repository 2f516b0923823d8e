"""The survey command as a racer types it, and the logs it is fed."""

import tracemalloc

import numpy as np
import pytest
from logs import SITE, csv_text, degrees_at, gpx, made_log
from ovals import demo_track
from rollpath.files.logs import load_points, load_position_log
from rollpath.files.schema import FileError
from rollpath.files.tracks import load_track
from rollpath.units import FOOT

TRACK = "Saucer Hill"
COMMAND = "survey"


@pytest.fixture
def refuse(run):
    def refuse(*arguments: object) -> str:
        status, out, err = run(*arguments)
        assert (status, out) == (2, "")
        assert err
        assert all(line.startswith("rollpath: ") for line in err.splitlines())
        return err

    return refuse


@pytest.fixture
def put(tmp_path):
    def put(name: str, text: str | bytes):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return put


@pytest.fixture(scope="module")
def log():
    return made_log(demo_track(TRACK), np.random.default_rng(2))


# A tape


TAPE = ("--chord", "100ft", "--gap", "6ft-9in", "--straight", "300ft", "--width", "45ft")


def test_a_chord_and_a_paced_straight_are_a_track(read):
    result = read(*TAPE)
    assert result["inside_radius_ft"] == pytest.approx([188.56, 188.56], abs=0.01)
    assert result["straight_ft"] == pytest.approx(300)
    assert result["width_ft"] == pytest.approx(45)
    # 2 x 300 + 2 pi R.
    assert result["lap_ft"] == pytest.approx(600 + 2 * np.pi * 188.56, abs=0.1)
    assert result["tolerance"].keys() == {"inside_radius_ft", "straight_ft"}
    assert result["laps_used"] is result["residual_ft"] is None


def test_the_screen_tells_what_an_inch_and_a_foot_make(run):
    status, out, _ = run(*TAPE, "--full")
    assert status == 0
    assert out.startswith("Inside radius: 189 ft both ends; straight: 300 ft")
    assert "1 in more of gap          radius -2.2 ft" in out
    assert "1 ft more of chord        radius +3.7 ft" in out
    assert "lay about 111 ft" in out
    assert "Bank is not measured" in out


def test_several_gaps_of_one_chord_are_averaged_and_their_spread_told(run, read):
    gaps = ("--chord", "100ft", "--gap", "6ft-9in", "--gap", "6ft-3in", "--straight", "300ft")
    each = read(*gaps)["chords"][0]["each_ft"]
    assert read(*gaps)["inside_radius_ft"][0] == pytest.approx(np.mean(each), abs=0.01)
    assert "spread 14" in run(*gaps, "--full")[1]


def test_ends_may_differ(read):
    result = read(*TAPE, "--chord-34", "80ft", "--gap-34", "5ft")
    assert result["inside_radius_ft"] == pytest.approx([188.56, 162.5], abs=0.01)


def test_a_lap_length_says_which_line_it_belongs_to(run, read):
    result = read("--lap", "1/4mile", "--straight", "250ft", "--width", "45ft")
    assert result["inside_radius_ft"][0] == pytest.approx(130.51 - 22.5, abs=0.01)
    outside = read("--lap", "1/4mile", "--straight", "250ft", "--width", "45ft",
                   "--line", "outside")  # fmt: skip
    assert outside["inside_radius_ft"][0] == pytest.approx(130.51 - 45, abs=0.01)
    assert outside["lap_ft"] == pytest.approx(1320 - 2 * np.pi * 45, abs=0.1)
    _, out, _ = run("--lap", "1/4mile", "--straight", "250ft")
    assert "Nobody says which line" in out


def test_si_screen_is_in_metres(run):
    _, out, _ = run(*TAPE, "--units", "si")
    assert "Inside radius: 57.5 m both ends; straight: 91.4 m" in out
    assert " ft" not in out


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ((), "give a position log"),
        (("--chord", "100", "--gap", "6ft", "--straight", "300ft"), "with its unit"),
        (("--chord", "100ft", "--straight", "300ft"), "as many gaps as chords"),
        (("--gap", "6ft", "--straight", "300ft"), "as many gaps as chords"),
        (("--chord", "6ft", "--gap", "100ft", "--straight", "300ft"), "which is which"),
        (("--chord", "100ft", "--gap", "6ft"), "--straight or --lap"),
        (("--lap", "1/4mile", "--straight", "700ft"), "nothing of the lap"),
        (("--lap", "900mile", "--straight", "700ft"), "--lap: expected"),
        (("--lap", "1/4mile", "--straight", "250ft", "--line", "outside"), "needs --width"),
        (("--straight", "-3ft", "--lap", "1/4mile"), "--straight: expected"),
        ((*TAPE, "--path", "x.csv"), "position log"),
        (("--lap", "1/4mile", "--straight", "659ft", "--line", "inside"), "15 and 2000 ft"),
        (("--chord", "100ft", "--gap", "1in", "--straight", "300ft"), "15 and 2000 ft"),
        (("nowhere.gpx",), "no such position log"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_line(refuse, typed, words):
    assert words in refuse(*typed)


@pytest.mark.parametrize("columns", ["40", "80"])
@pytest.mark.parametrize("typed", [TAPE, ("--lap", "3/8mile")])
def test_default_screen_is_at_most_24_lines(run, typed, columns, monkeypatch):
    monkeypatch.setenv("COLUMNS", columns)
    _, out, _ = run(*typed)
    assert len(out.splitlines()) <= 24
    assert max(map(len, out.splitlines())) <= int(columns)


def test_a_lap_alone_answers_and_says_what_was_taken(run, read):
    told = read("--lap", "3/8mile")
    assert told["straight_ft"] == pytest.approx(0.19 * 1980)
    assert told["tolerance"]["straight_ft"] > 100
    assert any("no straight was given" in note for note in told["notes"])


def test_nothing_given_at_a_terminal_asks(run, monkeypatch):
    answers = iter(["100 ft", "6 ft 9", "6ft-9in", "300ft"])
    monkeypatch.setattr("builtins.input", lambda question="": next(answers))
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    status, out, _ = run()
    assert status == 0
    assert "1 in of its gap will be worth" in out
    assert "Inside radius 189 ft; 1 in more of gap makes it -2.2 ft" in out
    assert "is known to about 15 ft" in out
    assert "Inside radius: 189 ft both ends; straight: 300 ft" in out


def test_enter_skips_to_the_lap(run, monkeypatch):
    answers = iter(["", "", "3/8mile"])
    monkeypatch.setattr("builtins.input", lambda question="": next(answers))
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    status, out, _ = run()
    assert status == 0
    assert "straight: 376 ft" in out


def test_the_front_door_takes_trade_text_and_paths(put, log):
    import rollpath

    taped = rollpath.survey_by_chords([("100 ft", "6 ft 9 in")], straight="300 ft", width="45 ft")
    assert taped.inside_radius[0] / FOOT == pytest.approx(188.56, abs=0.01)
    assert str(taped).startswith("Inside radius: 189 ft")
    assert rollpath.survey_by_lap("3/8 mile").straight / FOOT == pytest.approx(0.19 * 1980)
    path = put("lap.gpx", gpx(log))
    assert rollpath.survey_by_log(path).laps_used == 3


# Files


def test_the_track_file_written_reads_back(run, tmp_path):
    path = tmp_path / "new.yaml"
    status, out, _ = run(*TAPE, "--write", path)
    assert status == 0
    assert str(path) in out
    track = load_track(path)
    assert track.name == "New"
    assert track.inside_radius[0] / FOOT == pytest.approx(188.6)
    assert track.tolerance.straight / FOOT == pytest.approx(15.0)
    # An inch of gap and a foot of chord, and 15 % because one end was taped: hypot(4.3, 28.3).
    assert track.tolerance.inside_radius / FOOT == pytest.approx(28.6)


def test_a_file_that_is_there_is_not_lost(run, refuse, put):
    path = put("new.yaml", "name: precious\n")
    assert "--replace" in refuse(*TAPE, "--write", path)
    assert path.read_text() == "name: precious\n"
    assert run(*TAPE, "--write", path, "--replace")[0] == 0
    assert load_track(path).width / FOOT == pytest.approx(45)


def test_writing_needs_a_width_and_a_folder(refuse, tmp_path):
    assert "--width" in refuse(*TAPE[:-2], "--write", tmp_path / "x.yaml")
    assert "no folder" in refuse(*TAPE, "--write", tmp_path / "none" / "x.yaml")


def test_a_name_with_quotes_and_colons_survives(run, tmp_path):
    path = tmp_path / "x.yaml"
    name = 'The "Bowl": north # end'
    run(*TAPE, "--write", path, "--name", name)
    assert load_track(path).name == name


# Position logs


def test_gpx_and_csv_of_one_log_give_one_track(read, put, log):
    latitude, longitude = degrees_at(log)
    rows = zip(log.time, latitude, longitude, strict=True)
    table = "\n".join(["time;lat;lon", *(f"{t:.1f};{a:.8f};{b:.8f}" for t, a, b in rows)])
    logs = [
        put("lap.gpx", gpx(log)), put("lap.csv", table), put("feet.csv", csv_text(
            made_log(demo_track(TRACK), np.random.default_rng(2)))),
    ]  # fmt: skip
    results = [read(path, "--width", "50ft") for path in logs]
    true = demo_track(TRACK)
    for result in results:
        assert result["inside_radius_ft"] == pytest.approx(
            np.array(true.inside_radius) / FOOT, rel=0.05
        )
        assert result["inside_radius_ft"] == pytest.approx(results[0]["inside_radius_ft"], abs=0.02)
        assert result["laps_used"] == 3
        assert result["is_oval"]
    assert results[0]["centre_latitude_longitude_deg"].startswith(f"{SITE[0]:.2f}")
    assert results[2]["centre_ft"]


def test_a_gpx_keeps_its_times_whatever_else_a_point_holds(put, log):
    for beside in ("", "<ele>3</ele>", "<extensions><a><b>1</b></a></extensions>"):
        for text in (
            gpx(log).replace("<ele>200</ele>", beside),
            gpx(log).replace("<ele>200</ele>", "").replace("</time>", f"</time>{beside}"),
        ):
            read = load_position_log(put("lap.gpx", text))
            assert read.time - read.time[0] == pytest.approx(log.time)


def test_the_line_walked_is_minded(read, put):
    track = demo_track(TRACK)
    log = made_log(track, hertz=5, laps=1, offset=track.width)
    path = put("outside.csv", csv_text(log))
    there = read(path, "--width", "50ft", "--line", "outside")
    assert there["inside_radius_ft"] == pytest.approx([200, 185], abs=1)
    lane = read(path, "--from-inside", "50ft")
    assert lane["inside_radius_ft"] == pytest.approx([200, 185], abs=1)
    groove = read(path, "--width", "50ft", "--line", "groove")
    assert groove["tolerance"]["inside_radius_ft"] > 12


def test_a_kinked_straight_is_told_and_its_path_kept(run, put, tmp_path):
    track = demo_track("Ropewalk")
    length = float(track.edge.length[0, 0])

    def kink(u):
        return 9 * np.clip(1 - np.minimum(u, length - u) / (0.5 * track.straight), 0, 1)

    path = put("kink.gpx", gpx(made_log(track, np.random.default_rng(0), hertz=4, bulge=kink)))
    status, out, _ = run(path, "--width", "45ft", "--write", tmp_path / "kink.yaml")
    assert status == 0
    assert "No plain oval: in the middle of the front straight it runs" in out
    assert load_points(tmp_path / "kink-groove.csv").length > length
    kept = load_points(tmp_path / "kink-path.csv")
    assert kept.length == pytest.approx(length, rel=0.02)
    assert load_track(tmp_path / "kink.yaml").name == "Kink"


@pytest.mark.parametrize(("size", "told"), [(5.0, True), (0.0, False)])
def test_a_departure_that_may_be_more_than_six_feet_is_told(run, put, size, told):
    track = demo_track("Two Ponds")
    length = float(track.edge.length[0, 0])

    def dent(u):
        return -size * np.clip(1 - np.minimum(u, length - u) / (0.5 * track.straight), 0, 1)

    log = made_log(track, np.random.default_rng(0), hertz=1, bulge=dent, sd=1.5)
    _, out, _ = run(put("dent.gpx", gpx(log)))
    assert "No plain oval" not in out
    assert ("cannot tell an oval" in out) is told


def test_recorded_laps_are_a_groove_as_they_come(put, log):
    path = load_points(put("lap.gpx", gpx(log)))
    assert path.length == pytest.approx(float(demo_track(TRACK).edge.length[0, 0]), rel=0.02)


def test_pictures_are_drawn(run, put, log, tmp_path):
    status, _, _ = run(put("lap.gpx", gpx(log)), "--width", "50ft", "--out", tmp_path / "pictures")
    assert status == 0
    names = sorted(path.name for path in (tmp_path / "pictures").iterdir())
    assert names == ["survey-curvature.png", "survey-track.png"]
    run(*TAPE, "--out", tmp_path / "tape")
    assert [path.name for path in (tmp_path / "tape").iterdir()] == ["survey-track.png"]


# Files nobody should trust


LAUGHS = """<?xml version="1.0"?>
<!DOCTYPE gpx [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">
<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]>
<gpx><trk><trkseg><trkpt lat="1" lon="1"><time>&c;</time></trkpt></trkseg></trk></gpx>"""
HOSTILE = {
    "entities": (LAUGHS, "document type"),
    "an outside file": (
        '<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]><gpx>&x;</gpx>', "document type"
    ),
    "another language": ("<html><body></body></html>", 'expected "gpx"'),
    "broken XML": ("<gpx><trk></gpx>", "not GPX"),
    "endless nesting": ("<gpx>" + "<a>" * 5000, "nested deeper"),
    "no points": ('<gpx version="1.1"></gpx>', "no positions"),
    "a point of words": ('<gpx><trk>\n<trkpt lat="x" lon="1"/></trk></gpx>', ":2:"),
    "nothing": ("", "empty"),
    "an odd encoding": ('<?xml version="1.0" encoding="utf-7"?><gpx></gpx>', "not UTF-8"),
    "two bytes a letter": ("<gpx></gpx>".encode("utf-16"), "not UTF-8"),
    "a mouthful": ("<gpx><name>" + "x" * (6 << 20), "no tag in"),
    "wrong columns": ("speed (mph),rpm\n30,4000\n", "latitude and longitude"),
    "no unit": ("x,y\n1,2\n", "unit"),
    "words": ("lat,lon\nnorth,west\n", ":2:"),
    "swapped columns": ("lat,lon\n" + "-150.0,12.0\n" * 30, "no place on earth"),
    "bytes": (b"\x00\xff\xfe\x00" * 50, "not UTF-8"),
}  # fmt: skip


@pytest.mark.parametrize("kind", HOSTILE)
def test_a_log_is_refused_for(kind, put, refuse):
    text, words = HOSTILE[kind]
    path = put("bad.gpx", text)
    message = refuse(path)
    assert words in message
    assert str(path) in message


def test_a_recording_that_broke_off_is_used(read, put, log):
    text = gpx(log)
    result = read(put("cut.gpx", text[: int(len(text) * 0.9)]))
    assert any("ends in the middle" in note for note in result["notes"])
    assert result["laps_used"] >= 2


def test_entities_are_never_expanded(put):
    tracemalloc.start()
    try:
        with pytest.raises(FileError):
            load_position_log(put("laughs.gpx", LAUGHS))
        assert tracemalloc.get_traced_memory()[1] < 4 << 20
    finally:
        tracemalloc.stop()


def test_a_large_gpx_is_read_in_bounded_memory(put):
    one = b'<trkpt lat="12.0001" lon="-150.0"><time>2026-05-01T20:00:00Z</time></trkpt>\n'
    count = 30_000
    path = put("large.gpx", b"<gpx><trk><trkseg>" + one * count + b"</trkseg></trk></gpx>")
    tracemalloc.start()
    try:
        log = load_position_log(path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(log.x) == count
    assert peak < 40 * 8 * count  # a few arrays, and not the text or a tree of it


def test_a_file_without_end_is_refused(put, refuse, monkeypatch):
    monkeypatch.setattr("rollpath.files.gpx.LARGEST_LOG", 5000)
    assert "larger than" in refuse(put("long.gpx", "<gpx>" + " " * 6000))


def test_receiver_without_a_fix_is_left_out(read, put, log):
    latitude, longitude = degrees_at(log)
    rows = [f"{a:.8f},{b:.8f}" for a, b in zip(latitude, longitude, strict=True)]
    path = put("nofix.csv", "\n".join(["lat,lon", *["0,0"] * 5, *rows]))
    assert any("5 points without a position" in note for note in read(path)["notes"])


def test_clocks_in_milliseconds_are_told_by_their_size(put, log):
    latitude, longitude = degrees_at(log)
    rows = zip(1.7e12 + 1000 * log.time, latitude, longitude, strict=True)
    text = "\n".join(["timestamp,lat,lon", *(f"{t:.0f},{a:.8f},{b:.8f}" for t, a, b in rows)])
    time = load_position_log(put("ms.csv", text)).time
    assert np.ptp(time) == pytest.approx(np.ptp(log.time))
