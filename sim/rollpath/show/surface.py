"""Surfaces in words: what a grip is near, and what a lap time says of the track."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from rollpath.screen import TRADE, Screen, inches
from rollpath.show.words import caution_lines, lay_out, paragraph
from rollpath.surface import come_from, named_near
from rollpath.track import CONDITIONS

if TYPE_CHECKING:
    from rollpath.feel.lap import FeelCase
    from rollpath.stagger import Baseline
    from rollpath.surface import Timed
    from rollpath.track import Track

FRACTIONS = (
    (0.1, "a tenth"), (0.25, "a quarter"), (1 / 3, "a third"), (0.5, "half"),
    (2 / 3, "two thirds"), (0.75, "three quarters"),
)  # fmt: skip
"""Of the way from heavy to slick, as they are said."""
WHOLE = 0.9
"""Share of the way from which it is said to be the whole: that is how far it came, and not where
it is, for it may have begun beyond heavy."""
FURTHEST = 1.1
"""Share of the way beyond which a track is said to have gone past the end of it."""


def near_words(track: Track, grip: float) -> str:
    """What a grip is near on this track: ``between rubbered and tacky``."""
    near = named_near(track, grip)
    if len(near) == 1:
        return f"as good as {near[0]}"
    below, above = near
    if below and above:
        return f"between {below} and {above}"
    return f"slicker than {above}" if above else f"more grip than {below}"


def grip_name(track: Track, grip: float) -> str:
    """What a surface known by its grip alone is called."""
    return f"grip {grip:.2f} ({near_words(track, grip)})"


def timed_words(timed: Timed) -> str:
    """What a lap time says of the surface, and how surely: ``19.80 s says grip 0.94, ...``."""
    return (
        f"{timed.lap_time:.2f} s is {near_words(timed.track, timed.grip)}, grip {timed.grip:.2f}, "
        f"give or take {timed.doubt:.2f}"
    )


def watch_lines(case: Baseline | FeelCase, screen: Screen) -> list[str]:
    """What a lap time says of the surface and what it does to the answer; none without one."""
    if case.watch is None:
        return []
    timed, without, now = case.watch.timed, case.watch.without, case.watch.recommended
    was, becomes = screen.tape(without), screen.tape(now)
    did = f"leaves it at {becomes}" if was == becomes else f"turns {was} into {becomes}"
    lines = [paragraph(f"{timed_words(timed)}; that {did}", "  ")]
    if screen.full:
        most = max(timed.doubts, key=lambda key: timed.doubts[key])
        lines.append(paragraph(f"most of that doubt is from the {most}", "  "))
    return lines


def surface_json(case: Baseline | FeelCase) -> dict[str, Any]:
    """The surface for a program; what a lap time says of it where one was given."""
    grip, watch = float(case.condition.mean_grip), case.watch
    return {
        "grip": grip,
        "give_or_take_grip": None if watch is None else watch.timed.doubt,
        "near": [name for name in named_near(case.track, grip) if name],
        "lap_time_s": None if watch is None else watch.timed.lap_time,
        "without_it_in": None if watch is None else inches(watch.without),
    }


def come_words(earlier: Timed, now: Timed) -> str:
    """How far the track has come from one lap time to a later one, where the watch can tell."""
    slower = now.lap_time - earlier.lap_time
    watch = f"{'slower' if slower > 0 else 'quicker'} by {abs(slower):.1f} s"
    if abs(now.grip - earlier.grip) < math.hypot(now.doubts["watch"], earlier.doubts["watch"]):
        return f"{watch}: no more than a watch may be off, the track is as it was"
    _, end, share = come_from(now.track, earlier.grip, now.grip)
    went = "slicked off" if end == "slick" else "came back"
    if share > FURTHEST:
        return f"{watch}: {went} by more than from heavy to slick"
    if share > WHOLE:
        return f"{watch}: {went} by as much as from heavy to slick"
    return f"{watch}: {went} {min(FRACTIONS, key=lambda one: abs(one[0] - share))[1]}"


def unsaid_words(timed: Timed, said: str) -> str:
    """That a lap time is a whole heavy to slick away from the surface that was said; or nothing."""
    if said not in CONDITIONS:
        return ""
    grip = float(timed.track.condition(said).mean_grip)
    if come_from(timed.track, grip, timed.grip)[2] <= FURTHEST:
        return ""
    return f"that is far from {said}, which was said: check the watch, the word, the track file"


def short_screen(timed: Timed, screen: Screen = TRADE) -> str:
    """What a lap time says of the surface."""
    return lay_out([timed_words(timed), *caution_lines()], screen)


def lap_time_screen(timed: Timed, screen: Screen) -> str:
    """That a best lap is tonight's lap time from now on, and what it says of the surface."""
    return lay_out([f"Tonight goes by that lap: {timed_words(timed)}."], screen)
