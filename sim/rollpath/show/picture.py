"""What every picture shares: results drawn, nothing computed.

One convention: a drawing function takes what it draws, a `Screen`, and ``ax=None``. It makes a
figure of its own when it is given no axes, draws into those it is given otherwise (several panels
divide their place), and hands back the figure it drew in. `canvas`, `panels` and `legend_below` do
that for all.

Every picture reads in grey: lines differ by dash and label, shades run from dark to light one way,
and signs and words say what a shade means.
"""

from __future__ import annotations

import logging
import warnings
from collections.abc import Iterable, Iterator, Sequence
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

    from rollpath.feel.lap import FeelCase

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
DOTS_PER_INCH = 216
EDGE = INCH / 4
"""Stagger shown beyond the outermost mark, m."""
PAGE = (5.0, 4.5)
"""Width and height of a picture, in: on a phone 360 pixels wide a point of type is a pixel."""
SMALL = 9.0
"""Points; no type of a picture is smaller."""


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


def canvas(ax: Axes | None, size: tuple[float, float] = PAGE) -> tuple[Figure, Axes]:
    """The figure and the axes to draw into: those given, or new ones in the style of all pictures.

    Parameters
    ----------
    ax : Axes or None
        None makes a figure.
    size : tuple of float
        Width and height of a figure that is made, in.
    """
    if ax is not None:
        return _figure_of(ax), ax
    import matplotlib.pyplot as plt

    with plt.rc_context(STYLE):
        figure, made = plt.subplots(figsize=size, layout="constrained")
    return figure, made


def panels(
    ax: Axes | None,
    rows: int,
    size: tuple[float, float],
    columns: int = 1,
    heights: Sequence[float] | None = None,
    share_x: bool = True,
    share_y: bool = False,
) -> tuple[Figure, NDArray[Any]]:
    """The figure and an array of axes (rows, columns): new ones, or dividing the place of `ax`.

    Parameters
    ----------
    ax : Axes or None
        None makes a figure.
    rows, columns : int
    size : tuple of float
        Width and height of a figure that is made, in.
    heights : sequence of float, optional
        Of the rows, relative to one another.
    share_x, share_y : bool
        Whether the panels share the scale of an axis; inner ones then go unlabelled.
    """
    if ax is None:
        import matplotlib.pyplot as plt

        with plt.rc_context(STYLE):
            figure, grid = plt.subplots(
                rows, columns, figsize=size, layout="constrained", squeeze=False,
                sharex=share_x, sharey=share_y, height_ratios=heights,
            )  # fmt: skip
        return figure, grid
    return _figure_of(ax), _divided(ax, rows, columns, heights or [1.0] * rows, share_x, share_y)


GAP = 0.12
"""Between the panels that divide given axes, as a share of a panel."""


def _divided(
    ax: Axes, rows: int, columns: int, heights: Sequence[float], share_x: bool, share_y: bool
) -> NDArray[Any]:
    ax.set_axis_off()
    grid = np.empty((rows, columns), dtype=object)
    each = [height / sum(heights) for height in heights]
    for i, j in np.ndindex(rows, columns):
        bottom = 1.0 - sum(each[: i + 1])
        first = grid[0, 0]
        one = ax.inset_axes(
            (j / columns, bottom, (1 - GAP) / columns, (1 - GAP) * each[i]),
            sharex=first if share_x else None,
            sharey=first if share_y else None,
        )
        one.grid(True, color="0.88")
        one.set_axisbelow(True)
        one.tick_params(labelbottom=not share_x or i == rows - 1, labelleft=not share_y or j == 0)
        grid[i, j] = one
    return grid


def _figure_of(ax: Axes) -> Figure:
    figure = ax.get_figure(root=True)
    if figure is None:
        raise ValueError("the axes to draw into belong to no figure")
    return figure


def legend_below(ax: Axes | None, figure: Figure, drawn: Sequence[Axes], **keywords: Any) -> None:
    """What the lines of panels mean, below them where it hides no line.

    Parameters
    ----------
    ax : Axes or None
        What the drawing function was given.
    figure : Figure
        It drew in.
    drawn : sequence of Axes
        The panels with lines to name, the lowest last.
    keywords
        For matplotlib's ``legend``; ``handles`` instead of the labelled lines of the panels.
    """
    found = [handle for one in drawn for handle in one.get_legend_handles_labels()[0]]
    keywords = {"handles": found, "fontsize": SMALL, "ncols": 2, **keywords}
    if ax is None:
        figure.legend(loc="outside lower center", **keywords)
        return
    from matplotlib.transforms import ScaledTranslation

    lowest = drawn[-1]
    below = (22 + 14 * len(lowest.get_xlabel().split("\n"))) / 72  # in, under ticks and label
    under = lowest.transAxes + ScaledTranslation(0, -below, figure.dpi_scale_trans)
    keywords |= {"bbox_to_anchor": (0.5, 0.0), "bbox_transform": under}
    lowest.legend(loc="upper center", **keywords)


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
    return PAGE[0], min(max(0.84 * PAGE[0] * shape + 1.1, 2.6), 6.2) + extra


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
    size: float = 11.0,
) -> None:
    """Signs on the path where a value is clearly positive or negative: shades put in ink."""
    x, y = (screen.lengths(part) for part in groove.path)
    for i in np.linspace(0, len(values), 24, endpoint=False).astype(int):
        if abs(values[i]) > least:
            axes.text(
                x[i], y[i], "+" if values[i] > 0 else "\N{MINUS SIGN}", fontsize=size,
                weight="bold", ha="center", va="center",
                color="black" if values[i] > 0 else "white",
            )  # fmt: skip


SHADE_KEY = "shade: entry dark, drive-off middling,\ncentre light, straight white"


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


def along(screen: Screen) -> str:
    """The name of the axis along the lap."""
    return f"from the middle of the front straight, {screen.length_unit}"


def case_title(result: Baseline | FeelCase) -> str:
    """Whose picture it is, in two lines."""
    return (
        f"{result.car.name} at {result.track.name}\n"
        f"{result.condition.name}, {result.groove.name} groove"
    )
