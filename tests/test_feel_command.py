"""`rollpath feel` from the command line."""

import json
from pathlib import Path

import pytest
from rollpath.cli import main
from rollpath.show.words import SHORT_CAUTIONS

ROOT = Path(__file__).resolve().parent.parent
CASE = ["feel", str(ROOT / "tracks/ropewalk.yaml"), str(ROOT / "cars/number-31.yaml"),
        "--condition", "slick"]  # fmt: skip


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    status = main([*CASE, *words])
    out, err = capsys.readouterr()
    return status, out, err


@pytest.mark.parametrize("width", ["40", "80"])
def test_screen_says_what_is_felt_in_two_dozen_lines(capsys, monkeypatch, width) -> None:
    monkeypatch.setenv("COLUMNS", width)
    status, out, _ = run(capsys, "--stagger", "1in,1.5in,2in,2.5in,3in,3.5in")
    words = " ".join(out.split())
    assert status == 0
    assert "pushes" in out and "missing forward drive, not stagger" in words
    assert SHORT_CAUTIONS[0] in out
    assert len(out.splitlines()) <= 24 and max(map(len, out.splitlines())) <= int(width)
    for word in ("mismatch", "yaw", "slip stiffness", "rms"):
        assert word not in words


def test_full_gives_the_figures_after_what_is_felt(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "--stagger", "1in,3in", "--full")
    assert out.index("further left") < out.index("bite held")
    assert "pushes, drifts out" in out
    assert "missing forward drive, not" in " ".join(out.split())


def test_json_holds_the_same_figures_with_their_units(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "--stagger", "1in,2in,3in", "--json")
    told = json.loads(out)
    assert status == 0
    assert [case["stagger_in"] for case in told["staggers"]] == [1.0, 2.0, 3.0]
    drive_off = [
        next(phase for phase in case["phases"] if phase["phase"] == "drive-off")
        for case in told["staggers"]
    ]
    changes = [phase["steering_change_deg"] for phase in drive_off]
    assert changes == sorted(changes, reverse=True)
    for phase in drive_off:
        # lb-ft over the wheelbase of 108 in is pounds at the front axle
        assert phase["front_force_change_lb"] == pytest.approx(
            phase["axle_moment_change_lbft"] / 9.0, rel=1e-3
        )
        assert 0 < phase["demand_held_share"] <= 1


def test_bite_moves_by_the_rate_found_on_the_scales(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "--stagger", "1 1/2in", "--json")
    case = json.loads(out)["staggers"][0]
    # One inch less than the car has; 9.5 lb an inch in its file.
    assert case["bite_free_lb"] - case["bite_held_lb"] == pytest.approx(9.5, abs=0.01)


def test_without_staggers_it_takes_the_car_s_and_the_recommended(
    capsys: pytest.CaptureFixture[str],
) -> None:
    _, out, _ = run(capsys, "--json")
    assert [case["stagger_in"] for case in json.loads(out)["staggers"]] == [1.125, 2.5]


def test_quicker_steering_needs_less_wheel(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    car = (ROOT / "cars/number-31.yaml").read_text()
    angles = []
    for ratio in (8, 16):
        path = tmp_path / f"car-{ratio}.yaml"
        path.write_text(f"{car}\nsteering_ratio: {ratio}\n")
        assert main([*CASE[:2], str(path), "--stagger", "1in", "--json"]) == 0
        case = json.loads(capsys.readouterr().out)["staggers"][0]
        angles.append(case["phases"][0]["steering_wheel_deg"])
    assert angles[1] == pytest.approx(2 * angles[0], rel=1e-4)


def test_pictures_are_written(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    status, _, _ = run(capsys, "--stagger", "2in", "--out", str(tmp_path), "--units", "si")
    assert status == 0
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["feel-axle.png", "feel-steering.png", "feel-thrust.png"]
    assert all((tmp_path / name).stat().st_size > 10_000 for name in names)


def test_si_screen_has_no_trade_units(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "--stagger", "50mm", "--units", "si", "--full")
    figures = out[: out.index("Stands first")]
    assert "N m" in figures and "kW" in figures
    assert " lb" not in figures and " hp" not in figures


@pytest.mark.parametrize(
    ("stagger", "remedy"),
    [
        ("", "one to 6 staggers"),
        ("1in,2in,3in,4in,5in,6in,7in", "one to 6 staggers"),
        ("40in", "between -8 and 8 in"),
        ("1in,two", 'got "two"'),
    ],
)
def test_bad_stagger_gets_one_line(
    capsys: pytest.CaptureFixture[str], stagger: str, remedy: str
) -> None:
    status, out, err = run(capsys, f"--stagger={stagger}")
    assert status == 2
    assert out == ""
    assert len(err.splitlines()) == 1 and remedy in err


def test_bad_steering_ratio_is_told_with_its_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "car.yaml"
    path.write_text((ROOT / "cars/number-31.yaml").read_text() + "steering_ratio: 100\n")
    assert main([*CASE[:2], str(path)]) == 2
    err = capsys.readouterr().err
    assert "car.yaml:" in err and "a steering ratio between 2 and 40" in err
