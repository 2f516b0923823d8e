"""What a run holds, and CSV and JSON both ways."""

import csv
import io
import json
import os
import shutil
import subprocess
import sys
import time
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from notebook_helpers import made_run
from rollpath.book import exchange
from rollpath.book import run as run_module
from rollpath.book.exchange import EXPORT_KEYS, from_csv, from_json, to_csv, to_json
from rollpath.book.run import ENTRIES, BookError, Page, Run, settled
from rollpath.units import INCH, POUND, PSI

ANY_TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=80)
"""Any characters there are, control characters and all scripts among them; no lone surrogates."""


def any_value(entry: Any) -> st.SearchStrategy[Any]:
    if entry.name == "when":
        return st.datetimes(datetime(1950, 1, 1), datetime(2100, 1, 1))
    if entry.words:
        return st.none() | st.sampled_from(entry.words)
    if entry.unit:
        return st.none() | st.floats(entry.least * entry.unit, entry.most * entry.unit)
    text = ANY_TEXT.filter(bool).map(lambda text: text[: entry.longest])
    return text if entry.name in ("track", "car") else st.none() | text


ANY_RUN = st.builds(Run, **{entry.name: any_value(entry) for entry in ENTRIES})
ANY_PAGE = st.builds(
    Page,
    key=st.uuids().map(lambda key: key.hex),
    number=st.integers(1, 100_000),
    revision=st.integers(1, 1000),
    written=st.datetimes(datetime(1950, 1, 1), datetime(2100, 1, 1)),
    run=ANY_RUN.map(settled),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(ANY_PAGE, max_size=4))
def test_csv_comes_back_as_it_went_out(pages: list[Page]) -> None:
    assert from_csv(to_csv(pages), "book.csv") == pages


@settings(max_examples=60, deadline=None)
@given(st.lists(ANY_PAGE, max_size=4))
def test_json_comes_back_as_it_went_out(pages: list[Page]) -> None:
    assert from_json(to_json(pages), "book.json") == (pages, [])


@settings(max_examples=60, deadline=None)
@given(ANY_RUN)
def test_settling_twice_is_settling_once(run: Run) -> None:
    assert settled(settled(run)) == settled(run)


@given(st.floats(20, 160))
def test_settling_moves_a_rollout_by_less_than_any_tape_tells(rollout: float) -> None:
    run = settled(made_run(left_rear_rollout=rollout * INCH))
    assert run.left_rear_rollout == pytest.approx(rollout * INCH, abs=1e-7)


def page_of(**changes: Any) -> Page:
    return Page("0" * 32, 1, 1, datetime(2026, 5, 2), settled(made_run(**changes)))


def test_export_is_in_trade_units() -> None:
    page = page_of(left_front_weight=812 * POUND, left_rear_pressure=9 * PSI)
    (row,) = csv.DictReader(io.StringIO(to_csv([page]), newline=""))
    assert (row["left_front_weight_lb"], row["left_rear_pressure_psi"]) == ("812", "9")
    assert (row["left_front_rollout_in"], row["best_lap_s"]) == ("82.5", "17.84")
    (told,) = json.loads(to_json([page]))["pages"]
    assert told["recommended_stagger_in"] == 2.25
    assert list(told) == list(EXPORT_KEYS)


@pytest.mark.parametrize("note", ["=1+1", "+1", "-1", "@x", "'quoted", "\tx"])
def test_a_note_is_no_formula_to_a_spreadsheet(note: str) -> None:
    # OWASP, "CSV Injection": cells that begin with = + - @ tab or return are run as formulas.
    page = page_of(note=note)
    (row,) = csv.DictReader(io.StringIO(to_csv([page]), newline=""))
    assert row["note"] == f"'{note}"
    assert from_csv(to_csv([page]), "x")[0].run.note == note


def test_export_is_csv_by_rfc_4180() -> None:
    # RFC 4180, sec. 2: lines end in CRLF; quotes double inside quotes; line breaks stay inside.
    text = to_csv([page_of(note='the "good" line,\r\nsecond row')])
    assert text.endswith('"the ""good"" line,\r\nsecond row"\r\n')


def test_a_line_from_a_spreadsheet_needs_only_when_track_and_car() -> None:
    text = "when,track,car,best_lap_s\n2025-06-14 21:05,Saucer Hill,Number 31,16.9\n"
    (page,) = from_csv(text, "old.csv")
    assert page.run == Run(datetime(2025, 6, 14, 21, 5), "Saucer Hill", "Number 31", best_lap=16.9)
    assert from_csv(text, "old.csv") == [page], "the same line has the same key"


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "x.csv:1: when: missing"),
        ("when,track,car,best_lap\n", 'best_lap: unknown column; did you mean "best_lap_s"?'),
        ("when,track,car,car\n", "car: column given twice"),
        ("when,track,car\n2026-05-02,Ropewalk\n", "x.csv:2: car: missing"),
        ("when,track,car\nSaturday,Ropewalk,31\n", "when: expected a time such as 2026-05-02T21"),
        ("when,track,car\n2026-05-02,a,b,c\n", "x.csv:2: 4 cells, but the head line names 3"),
        ('when,track,car\n2026-05-02,"a,b\n', "not CSV"),
        ("when,track,car,best_lap_s\n2026-05-02,a,b,fast\n", 'a plain number of s, got "fast"'),
        ("when,track,car,best_lap_s\n2026-05-02,a,b,nan\n", "a number from 1 to 3600"),
        ("when,track,car,wheel\n2026-05-02,a,b,up\n", "expected one of straight, left, right"),
        (
            "when,track,car,number\n2026-05-02,a,b,0\n",
            "number: expected a whole number from 1 to 100000",
        ),
        ("when,track,car,key\n2026-05-02,a,b,'; --\n", "key: expected 32 hexadecimal digits"),
    ],
)
def test_a_bad_csv_is_told_by_line_and_column(text: str, complaint: str) -> None:
    with pytest.raises(BookError) as caught:
        from_csv(text, "x.csv")
    assert complaint in str(caught.value)


@pytest.mark.parametrize("text", ["", "[]", "{", '{"pages": 3}', "[" * 100_000, "[NaN]"])
def test_what_is_no_export_is_refused(text: str) -> None:
    with pytest.raises(BookError, match=r"x\.json"):
        from_json(text, "x.json")


def test_all_faults_of_an_import_are_told_at_once() -> None:
    text = "when,track,car,wheel,crabs\n2026-05-02,a,b,up,maybe\nnever,a,b,left,no\n"
    with pytest.raises(BookError) as caught:
        from_csv(text, "x.csv")
    assert len(caught.value.lines) == 3


def test_a_long_list_of_faults_is_cut_short() -> None:
    text = "when,track,car\n" + "never,a,b\n" * 500
    with pytest.raises(BookError) as caught:
        from_csv(text, "x.csv")
    assert caught.value.lines[-1] == "and 480 more like these"
    assert len(caught.value.lines) == 21


@pytest.mark.parametrize(
    "changes",
    [
        {"best_lap": float("nan")},
        {"best_lap": float("inf")},
        {"left_rear_rollout": 8.0},
        {"wheel": "up"},
        {"track": ""},
        {"note": "\ud800"},
        {"note": "x" * 20_001},
    ],
)
def test_what_cannot_be_kept_is_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(BookError):
        settled(made_run(**changes))


def test_a_date_alone_is_that_evening_and_keeps_its_key() -> None:
    text = "when,track,car\n2025-06-14,A,B\n"
    (page,) = from_csv(text, "x")
    assert page.run.when == datetime(2025, 6, 14, 20)
    (typed,) = from_csv(text.replace("06-14", "06-14T00:00:00"), "x")
    assert typed.run.when == datetime(2025, 6, 14)
    assert page.key == typed.key, "an import made before evenings were read is the same run"


@pytest.mark.parametrize(
    ("typed", "here"),
    [("2026-05-02T21:40-05:00", (2026, 5, 2, 21, 40)), ("2026-05-03T02:40Z", (2026, 5, 2, 21, 40))],
)
def test_time_zones_are_read(
    monkeypatch: pytest.MonkeyPatch, typed: str, here: tuple[int, ...]
) -> None:
    # IANA time zone database: America/Chicago is five hours behind UTC in May.
    monkeypatch.setenv("TZ", "America/Chicago")
    time.tzset()
    try:
        (page,) = from_csv(f"when,track,car\n{typed},A,B\n", "x")
    finally:
        monkeypatch.undo()
        time.tzset()
    assert page.run.when == datetime(*here)


def test_an_import_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    head = "when,track,car\n"
    for text, complaint in (
        (",".join(f"c{i}" for i in range(10**4)) + "\n", "10000 columns; a notebook has"),
        (",".join(f"c{i}" for i in range(10**6)) + "\n", "7888890 characters is no run"),
        ("when,track,car," + ",".join("x" * 4000 for _ in range(50)), "unknown column"),
        ("when,track,car,number\n2026-05-02,A,B,999999999\n", "from 1 to 100000"),
        ("when,track,car,revision\n2026-05-02,A,B,999999999\n", "from 1 to 100000"),
    ):
        with pytest.raises(BookError) as caught:
            from_csv(text, "x.csv")
        assert complaint in str(caught.value)
        assert len(caught.value.lines) <= 21
    monkeypatch.setattr(exchange, "MOST_PAGES", 500)
    with pytest.raises(BookError, match="more than 500 runs; split the file"):
        from_csv(head + "2026-05-02,A,B\n" * 501, "x.csv")
    with pytest.raises(BookError, match="more than 500 runs"):
        from_json('{"pages": [' + "{}," * 20_000 + "{}]}", "x.json")
    keys = json.dumps({"pages": [{f"k{i}": 1 for i in range(10**5)}]})
    with pytest.raises(BookError, match="100000 keys; a notebook has"):
        from_json(keys, "x.json")


def test_a_key_of_a_run_is_one_line(tmp_path: Path) -> None:
    """Added to `Run` alone it is a column, a heading, a JSON key, an option and a row."""
    source = Path(run_module.__file__).read_text()
    mark = "    counts: str | None"
    assert source.count(mark) == 1
    room = tmp_path / "rollpath"
    shutil.copytree(Path(run_module.__file__).parents[1], room)
    new = "    track_heat: float | None = _held('pressure', 0.0, 9.0)\n"
    (room / "book" / "run.py").write_text(source.replace(mark, new + mark))
    typed = ["notebook", "add", "--book", "b.db", "--track", "A", "--car", "B"]
    script = f"""
from rollpath.cli import main
assert main({[*typed, "--track-heat", "3 psi"]!r}) == 0
for action in (["show", "1"], ["show", "1", "--json"], ["export", "b.csv"], ["export", "-"]):
    assert main(["notebook", *action, "--book", "b.db"]) == 0
print(open("b.csv").read())
"""
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "track heat" in done.stdout
    assert done.stdout.count('"track_heat_psi": 3.0') == 2
    heading = next(line for line in done.stdout.splitlines() if line.startswith("number,key"))
    assert "track_heat_psi" in heading.split(",")
