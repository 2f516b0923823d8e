"""Surfaces in words: what a grip is near, and what a lap time says of the track."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rollpath.screen import TRADE, Screen, inches
from rollpath.show.words import caution_lines, lay_out, paragraph
from rollpath.surface import come_from, named_near

if TYPE_CHECKING:
    from rollpath.feel.lap import FeelCase
    from rollpath.stagger import Baseline
    from rollpath.surface import Timed
    from rollpath.track import Track

LEAST_COME = 0.05
"""Share of the way from heavy to slick below which a track is said to be as it was."""


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


def come_words(track: Track, earlier: Timed, now: Timed) -> str:
    """How far the track has come from one lap time to a later one."""
    slower = now.lap_time - earlier.lap_time
    watch = "slower" if slower > 0 else "quicker"
    start, end, share = come_from(track, earlier.grip, now.grip)
    if share < LEAST_COME:
        return f"{watch} by {abs(slower):.1f} s: the track is as it was"
    return f"{watch} by {abs(slower):.1f} s: {share:.0%} of the way from {start} to {end}"


def short_screen(timed: Timed, screen: Screen = TRADE) -> str:
    """What a lap time says of the surface."""
    return lay_out([timed_words(timed), *caution_lines()], screen)
