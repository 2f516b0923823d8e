"""Surfaces in words: what a grip is near, and what a lap time says of the track."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rollpath.surface import come_from, named_near

if TYPE_CHECKING:
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


def timed_name(track: Track, timed: Timed) -> str:
    """What a surface known by a lap time is called."""
    return f"a {timed.lap_time:.2f} s track ({near_words(track, timed.grip)})"


def timed_words(track: Track, timed: Timed) -> str:
    """What a lap time says of the surface, and how surely."""
    most = max(timed.doubts, key=lambda key: timed.doubts[key])
    return (
        f"a lap of {timed.lap_time:.2f} s on the {timed.groove.name} groove is grip "
        f"{timed.grip:.2f}, give or take {timed.doubt:.2f} ({near_words(track, timed.grip)}); "
        f"most of the doubt from the {most}"
    )


def come_words(track: Track, earlier: Timed, now: Timed) -> str:
    """How far the track has come from one lap time to a later one."""
    slower = now.lap_time - earlier.lap_time
    watch = "slower" if slower > 0 else "quicker"
    start, end, share = come_from(track, earlier.grip, now.grip)
    if share < LEAST_COME:
        return f"{watch} by {abs(slower):.1f} s: the track is as it was"
    return f"{watch} by {abs(slower):.1f} s: {share:.0%} of the way from {start} to {end}"
