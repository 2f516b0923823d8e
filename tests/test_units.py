"""Quantities in and out."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rollpath import screen, units
from rollpath.screen import Screen
from rollpath.units import parse

# NIST SP 811 (2008), appendix B.8 and B.9.
NIST = {
    ("1 in", "length"): 0.0254,
    ("1 ft", "length"): 0.3048,
    ("1 yd", "length"): 0.9144,
    ("1 mile", "length"): 1609.344,
    ("1 lb", "weight"): 4.4482216152605,
    ("1 kg", "weight"): 9.80665,
    ("1 lb/in", "stiffness"): 175.126835,
    ("1 hp", "power"): 745.6999,
    ("1 ft2", "area"): 0.09290304,
    ("1 mph", "speed"): 0.44704,
    ("1 psi", "pressure"): 6894.757,
    ("180 deg", "angle"): math.pi,
    ("1 lb*in/deg", "roll stiffness"): 0.112984829 * 180 / math.pi,
}


@pytest.mark.parametrize(("text", "kind"), NIST)
def test_factors_are_those_of_nist_sp_811(text, kind):
    assert parse(text, kind) == pytest.approx(NIST[text, kind], rel=2e-7)


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("85 5/8 in", 85.625),
        ('85-5/8"', 85.625),
        ("85 5/8″", 85.625),
        ("85⅝ in", 85.625),
        ("85.625 inches", 85.625),
        ("5/8 in", 0.625),
        (".5 in", 0.5),
        ("6ft-9in", 81.0),
        ("6' 9\"", 81.0),
        ("6'9''", 81.0),
        ("6 ft, 9 1/2 in", 81.5),
        ("2174.875 mm", 85.625),
        ("217.4875 CM", 85.625),
        ("-1/2 in", -0.5),
        ("−1/2 in", -0.5),  # a minus sign as a word processor writes it
        ("1/4 mile", 15840.0),
        ("1e2 in", 100.0),
    ],
)
def test_a_length_is_read_as_racers_write_it(text, inches):
    assert parse(text, "length") / units.INCH == pytest.approx(inches, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "feet"),
    [
        ("quarter mile", 1320.0),
        ("a half mile", 2640.0),
        ("Three-Eighths of a mile", 1980.0),
        ("three eighths", 1980.0),  # a track's lap: of a mile
        ("3/8 Mile", 1980.0),
        ("660 yards", 1980.0),
        ("1,980 ft", 1980.0),
        ("1,980ft 6 in.", 1980.5),
        ("2 1/2 in.", 2.5 / 12),
    ],
)
def test_a_track_is_measured_as_racers_say_it(text, feet):
    assert parse(text, "length") / units.FOOT == pytest.approx(feet, rel=1e-12)


@pytest.mark.parametrize("text", ["1,98 ft", "1,9800 ft", "eighths", "12,34 ft", "three mile"])
def test_what_is_nearly_such_a_length_is_refused(text):
    with pytest.raises(units.QuantityError):
        parse(text, "length")


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("86 3/8", "tape", 86.375 * units.INCH),
        ("-1/2", "tape", -0.5 * units.INCH),
        ("812", "weight", 812 * units.POUND),
        (18, "pressure", 18 * units.PSI),
        ("17.84", "time", 17.84),
        ("1 1/2", "turns", 1.5),
        ("104", "temperature", 313.15),
    ],
)
def test_a_bare_number_is_the_one_unit_of_the_trade(text, kind, si):
    assert parse(text, kind) == pytest.approx(si, rel=1e-12)
    shown = units.with_unit(str(text), kind)
    assert shown == f"{text} {units.KINDS[kind].trade}"
    assert parse(shown, kind) == parse(text, kind)


@pytest.mark.parametrize("kind", ["length", "power", "angle", "speed", "stiffness", "area"])
def test_where_the_trade_knows_several_units_a_bare_number_is_refused(kind):
    with pytest.raises(units.QuantityError, match="with its unit"):
        parse("40", kind)
    assert units.with_unit("40", kind) == "40"


def test_units_are_those_of_the_reference_tables():
    # scipy.constants, which takes them from NIST SP 811 and CODATA.
    from scipy import constants

    ours = {
        "inch": units.INCH, "foot": units.FOOT, "yard": units.YARD, "mile": units.MILE,
        "lbf": units.POUND, "mph": units.MPH, "knot": units.KNOT, "hp": units.HP,
        "psi": units.PSI, "degree": units.DEGREE, "g": units.G,
        "zero_Celsius": units.ZERO_CELSIUS, "degree_Fahrenheit": units.FAHRENHEIT,
    }  # fmt: skip
    for name, value in ours.items():
        assert value == pytest.approx(getattr(constants, name), rel=1e-15)


@pytest.mark.parametrize("bare", ["320", "85 5/8", "0.5", "-3", "1e3", 320, 2.5])
def test_a_bare_number_is_refused_and_shown_how_to_be_written(bare):
    with pytest.raises(units.QuantityError) as refused:
        parse(bare, "length")
    assert 'such as "320 ft", with its unit' in str(refused.value)
    assert f'got "{bare}"' in str(refused.value)


@pytest.mark.parametrize(
    "text",
    ["long", "", "ft", "5 lb", "5 ft 3 ft", "3 in 5 ft", "1/0 in", "nan ft", "inf ft", "1e999 ft",
     "5 ft 3", "5 furlongs", "1,5 ft", "--5 ft", "+-5 ft", "5 ft -", None, True, [5], "9" * 200],
)  # fmt: skip
def test_what_is_no_length_is_refused_in_one_short_line(text):
    with pytest.raises(units.QuantityError) as refused:
        parse(text, "length")
    assert "expected a length such as" in str(refused.value)
    assert "\n" not in str(refused.value)
    assert len(str(refused.value)) < 120


@pytest.mark.parametrize("kind", units.KINDS)
def test_every_kind_reads_its_own_example(kind):
    assert parse(units.KINDS[kind].example, kind) > 0


def test_a_unit_of_another_kind_is_refused():
    for kind, wrong in (("length", "5 lb"), ("weight", "5 ft"), ("power", "5 mph"),
                        ("angle", "5 psi"), ("area", "5 ft"), ("speed", "5 hp")):  # fmt: skip
        with pytest.raises(units.QuantityError):
            parse(wrong, kind)


@given(st.integers(-4000, 4000))
def test_a_taped_length_comes_back_as_it_was_shown(count):
    metres = count * units.INCH / 8
    text = f"{screen.eighths(metres)} in"
    assert parse(text.replace("-", "- ", 1) if count < 0 else text, "tape") == pytest.approx(
        metres, abs=1e-12
    )


@given(st.floats(-5.0, 5.0))
def test_nearest_eighth_is_within_half_a_mark_and_agrees_with_what_is_shown(metres):
    rounded = float(units.nearest_eighth(metres))
    assert abs(rounded - metres) <= units.INCH / 16 + 1e-12
    assert screen.eighths(rounded) == screen.eighths(metres)


@given(st.text(max_size=60), st.sampled_from(sorted(units.KINDS)))
def test_any_text_is_a_number_or_one_clear_line(text, kind):
    try:
        assert math.isfinite(parse(text, kind))
    except units.QuantityError as error:
        assert "\n" not in str(error)


def test_eighths_are_in_lowest_terms():
    shown = [screen.eighths(count * units.INCH / 8) for count in range(17, 25)]
    assert shown == ["2 1/8", "2 1/4", "2 3/8", "2 1/2", "2 5/8", "2 3/4", "2 7/8", "3"]


def test_a_jack_thread_is_length_per_turn():
    assert units.parse_per_turn("1 in per 12 turns") == pytest.approx(units.INCH / 12)
    assert units.parse_per_turn("2 mm per turn") == pytest.approx(2e-3)
    for wrong in ("12 turns", "1 in", "1 in per 0 turns", "1 lb per 12 turns", "1 in per x turns"):
        with pytest.raises(units.QuantityError, match="such as"):
            units.parse_per_turn(wrong)


def test_temperatures_meet_at_minus_forty():
    # The Fahrenheit and Celsius scales cross at -40 (NIST SP 811, appendix B.9).
    assert units.parse_temperature("-40 F") == pytest.approx(units.parse_temperature("-40 C"))
    assert units.parse_temperature("32 F") == pytest.approx(273.15)
    assert units.parse_temperature("85") == units.parse_temperature("85 F")
    for wrong in ("warm", "85 R", "8.5.1 F"):
        with pytest.raises(units.QuantityError, match="85 F"):
            units.parse_temperature(wrong)


def test_the_screen_speaks_both_systems():
    us, si = Screen("us"), Screen("si")
    assert us.tape(2.126 * units.INCH) == "2 1/8 in"
    assert us.tape(units.INCH, signed=True) == "+1 in"
    assert si.tape(0.054) == "54 mm"
    assert us.distance(units.FOOT * 100) == "100 ft"
    assert si.distance(100.0) == "100.0 m"
    assert us.speed(units.MPH * 60) == "60 mph"
    assert us.weight_rate(10 * units.POUND / units.INCH) == "10.0 lb/in"
    assert us.angle(12 * units.DEGREE) == si.angle(12 * units.DEGREE) == "12.0 deg"


def test_the_screen_never_shows_a_signed_nothing():
    for system in ("us", "si"):
        screen = Screen(system)
        for tiny in (1e-6, -1e-6):
            assert screen.tape(tiny, signed=True)[0] == "0"
            assert screen.weight(tiny)[0] == "0"
            assert screen.distance(tiny)[0] == "0"


def test_si_symbols_are_shown_as_the_standard_writes_them():
    # Upper case for units named after a person: NIST SP 811, section 6.1.2.
    si = Screen("si")
    assert si.of_kind(340 * units.HP, "power") == "253.5 kW"
    assert si.of_kind(812 * units.POUND, "weight") == "3612 N"
    assert si.of_kind(18 * units.PSI, "pressure") == "124.1 kPa"
    assert si.of_kind(190 * units.POUND / units.INCH, "stiffness") == "33.27 N/mm"
    assert si.of_kind(123456.0, "roll stiffness") == "123500 N*m/rad"
    assert si.of_kind(12 * units.DEGREE, "angle") == "12 deg"


@given(st.floats(1e-3, 1e5), st.sampled_from(sorted(screen.TRADE_UNITS)))
def test_what_the_si_screen_shows_is_read_back_to_four_digits(value, kind):
    assert parse(Screen("si").of_kind(value, kind), kind) == pytest.approx(value, rel=6e-4)


def test_a_trade_figure_keeps_its_eighths():
    assert Screen("us").of_kind(103.625 * units.INCH, "tape") == "103.625 in"
