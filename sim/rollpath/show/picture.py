"""Pictures: results drawn, nothing computed.

Every picture reads in grey: lines differ by dash and label, shades run from dark to light one way,
and signs and words say what a shade means.
"""

from __future__ import annotations

import logging
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rollpath.files.schema import FileError
from rollpath.groove.path import Groove, place
from rollpath.lap import PHASES
from rollpath.screen import Screen
from rollpath.stagger import Baseline
from rollpath.track import Track
from rollpath.units import INCH, FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SHADES = "cividis"
"""Its lightness runs one way and it reads alike to colour-blind eyes."""
STYLES: tuple[dict[str, Any], ...] = (
    {"color": "black", "linestyle": "-"},
    {"color": "#0072b2", "linestyle": "--"},
    {"color": "#d55e00", "linestyle": "-."},
    {"color": "#009e73", "linestyle": ":"},
    {"color": "0.45", "linestyle": (0, (6, 2, 1, 2, 1, 2))},
    {"color": "#cc79a7", "linestyle": (0, (2, 1))},
)
"""Lines told apart by dash as well as by colour (after Okabe and Ito's colours)."""
DOTS_PER_INCH = 150
EDGE = INCH / 4
"""Stagger shown beyond the outermost mark, m."""
PAGE = (7.2, 6.4)
"""Width and height of a picture, in: half a letter page, or a phone held upright."""


@dataclass(frozen=True)
class Picture:
    """A drawn figure and the name of its file, without the ending."""

    name: str
    figure: Figure


AS_TYPED: dict[Any, Any] = {"text.parse_math": False}
"""A dollar sign in a name is a dollar sign, never mathematics."""


@contextmanager
def as_typed(figures: Iterable[Figure] = ()) -> Iterator[None]:
    """While text is drawn or measured: as it was typed, and no word of letters the font lacks.

    Parameters
    ----------
    figures : iterable of Figure
        Already drawn, to be shown or written inside; their text is taken as typed from here on.
    """
    import matplotlib.pyplot as plt
    from matplotlib.text import Text

    for figure in figures:
        for text in figure.findobj(Text):
            text.set_parse_math(False)
    log = logging.getLogger("matplotlib.mathtext")
    before = log.level
    with warnings.catch_warnings(), plt.rc_context(AS_TYPED):
        # A letter that the font lacks is drawn as a box, which says enough.
        warnings.filterwarnings("ignore", message=r"(?s).*(Glyph .* missing|not have a glyph)")
        log.setLevel(logging.ERROR)
        try:
            yield
        finally:
            log.setLevel(before)


def deliver(pictures: Iterable[Picture], out: Path | None, show: bool) -> list[Path]:
    """Write pictures into a folder, show them, or both.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    files.FileError
        If the folder or a file in it cannot be written, or there is no display to show them on.
    """
    from io import BytesIO

    from rollpath.files.writing import make_folder, write_whole

    written = []
    for picture in pictures:
        if out is not None:
            make_folder(out)
            data = BytesIO()
            with as_typed([picture.figure]):
                picture.figure.savefig(data, format="png", dpi=DOTS_PER_INCH)
            path = out / f"{picture.name}.png"
            write_whole(path, data.getvalue())
            written.append(path)
    if show:
        show_all()
    return written


NO_WINDOW = ("agg", "cairo", "pdf", "pgf", "ps", "svg", "template")
"""matplotlib's backends that draw to files alone (its user guide, "Backends")."""


def show_all() -> None:
    """Show every open figure until its window is closed.

    Raises
    ------
    files.FileError
        If there is no display.
    """
    import matplotlib.pyplot as plt

    if plt.get_backend().lower() in NO_WINDOW:
        raise FileError(["no display here; use --out DIR"])
    with as_typed(plt.figure(number) for number in plt.get_fignums()):
        plt.show()


STYLE: dict[Any, Any] = {
    **AS_TYPED,
    "font.size": 11, "axes.grid": True, "grid.color": "0.88", "axes.axisbelow": True,
    "lines.linewidth": 1.8, "axes.titlesize": 12, "legend.framealpha": 0.9,
}  # fmt: skip


def figure_with(rows: int = 1, size: tuple[float, float] = PAGE, **grid: Any) -> tuple[Figure, Any]:
    """A figure and its axes, one above the other, in the style of all pictures."""
    import matplotlib.pyplot as plt

    with plt.rc_context(STYLE):
        figure, axes = plt.subplots(rows, 1, figsize=size, layout="constrained", **grid)
    return figure, axes


def figure_grid(rows: int, columns: int, size: tuple[float, float]) -> tuple[Figure, Any]:
    """A figure and an array of axes that share their scales, in the style of all pictures."""
    import matplotlib.pyplot as plt

    with plt.rc_context(STYLE):
        figure, grid = plt.subplots(
            rows, columns, figsize=size, layout="constrained", squeeze=False,
            sharex=True, sharey=True,
        )  # fmt: skip
    return figure, grid


# What pictures share


def draw_edges(axes: Axes, track: Track, screen: Screen) -> None:
    """Both edges of a track, seen from above."""
    edge = track.edge
    u = np.linspace(0.0, float(edge.length[0, 0]), 721)
    for offset in (0.0, float(track.width)):
        x, y = place(edge, u, offset)
        axes.plot(screen.lengths(x[0]), screen.lengths(y[0]), color="0.35", linewidth=1.2)
    axes.set_aspect("equal")
    axes.margins(0.06)
    axes.set_xlabel(f"distance along the straights, {screen.length_unit}")
    axes.set_ylabel(f"distance across, {screen.length_unit}")


def map_size(track: Track, extra: float = 0.0) -> tuple[float, float]:
    """Width and height of a picture that a track fills, in; `extra` for what stands below it."""
    edge = track.edge
    x, y = place(edge, np.linspace(0.0, float(edge.length[0, 0]), 200), float(track.width))
    shape = float(np.ptp(y) / np.ptp(x))
    return PAGE[0], min(max(6.2 * shape + 1.4, 3.2), 7.6) + extra


def draw_shaded_path(
    axes: Axes,
    groove: Groove,
    values: FloatArray,
    limit: float,
    screen: Screen,
    width: float = 7.0,
) -> Any:
    """The groove as a band shaded by values from -limit to limit; returns what a scale needs."""
    from matplotlib.collections import LineCollection

    x, y = (screen.lengths(np.append(part, part[0])) for part in groove.path)
    points = np.stack([x, y], axis=-1)
    pieces = np.stack([points[:-1], points[1:]], axis=1)
    axes.add_collection(LineCollection(list(pieces), colors="black", linewidths=width + 2))
    band = LineCollection(list(pieces), cmap=SHADES, linewidths=width)
    band.set_array(values)
    band.set_clim(-limit, limit)
    axes.add_collection(band)
    return band


def mark_signs(
    axes: Axes,
    groove: Groove,
    values: FloatArray,
    least: float,
    screen: Screen,
    size: float = 13.0,
) -> None:
    """Signs on the path where a value is clearly positive or negative: shades put in ink."""
    x, y = (screen.lengths(part) for part in groove.path)
    for i in np.linspace(0, len(values), 28, endpoint=False).astype(int):
        if abs(values[i]) > least:
            axes.text(
                x[i], y[i], "+" if values[i] > 0 else "\N{MINUS SIGN}", fontsize=size,
                weight="bold", ha="center", va="center",
                color="black" if values[i] > 0 else "white",
            )  # fmt: skip


SHADE_KEY = "shade: entry dark, drive-off middling, centre light, straight white"


def shade_phases(
    axes: Axes,
    s: FloatArray,
    phase: NDArray[np.int_],
    screen: Screen,
    named: bool,
    size: float = 9.0,
) -> None:
    """Bands along the lap for the phases, named along the top where there is room for the name."""
    shades = {"entry": "0.80", "centre": "0.93", "drive-off": "0.87", "straight": "1.0"}
    ends = np.flatnonzero(np.diff(phase)) + 1
    figure = axes.get_figure(root=True)
    width = axes.get_position().width * (figure.get_size_inches()[0] if figure else PAGE[0])
    letter = 0.62 * size / 72 / width * s[-1]
    for start, end in zip(np.append(0, ends), np.append(ends, len(s)), strict=True):
        left, right = s[start], s[end - 1]
        name = PHASES[phase[start]]
        axes.axvspan(
            float(screen.lengths(left)), float(screen.lengths(right)), color=shades[name], lw=0
        )
        if named and right - left > letter * (len(name) + 0.3):
            axes.text(
                float(screen.lengths(0.5 * (left + right))), 1.02, name,
                transform=axes.get_xaxis_transform(), ha="center", va="bottom", fontsize=size,
            )  # fmt: skip


def case_title(result: Baseline) -> str:
    return (
        f"{result.car.name} at {result.track.name}, "
        f"{result.condition.name}, {result.groove.name} groove"
    )
