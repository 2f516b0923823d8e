"""The library's pictures as SVG for a phone, drawn anew in a narrow format."""

from __future__ import annotations

from collections.abc import Callable
from io import StringIO
from textwrap import wrap
from typing import TYPE_CHECKING

from flask import Response

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WIDTH = 3.9
"""Inches across: the letters of a figure are then as large as the page's on a phone."""
LETTERS = 40
"""Of a line beside an axis, so that it is as wide as the picture at most."""
TALLEST = 1.6
"""Height of a picture in its width at most."""


def svg_of(draw: Callable[[], Figure], whole: bool = False) -> str:
    """A picture as SVG without a background; its title is the page's own.

    Parameters
    ----------
    draw : callable
    whole : bool
        Leaves a printed sheet as it is.
    """
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt

    from rollpath.show.picture import as_typed

    figure = draw()
    try:
        if not whole:
            _narrow(figure)
        data = StringIO()
        with as_typed([figure]):
            figure.savefig(data, format="svg", transparent=not whole, metadata={"Date": None})
        return data.getvalue()
    finally:
        plt.close(figure)


def _narrow(figure: Figure) -> None:
    width, height = figure.get_size_inches()
    figure.set_size_inches(WIDTH, WIDTH * min(max(height / width, 0.7), TALLEST))
    figure.suptitle("")
    for axes in figure.axes:
        axes.set_title("")
        for axis in (axes.xaxis, axes.yaxis):
            label = axis.label.get_text().splitlines()
            axis.set_label_text("\n".join(one for line in label for one in wrap(line, LETTERS)))


def as_picture(svg: str) -> Response:
    """An answer that is a picture."""
    response = Response(svg, mimetype="image/svg+xml")
    # A drawing carries its style with it; nothing else in it may do or fetch anything.
    response.headers["Content-Security-Policy"] = "default-src 'none'; style-src 'unsafe-inline'"
    return response
