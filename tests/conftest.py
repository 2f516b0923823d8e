"""What all tests share: no screen, and no figure left open."""

import sys

import matplotlib
import pytest

matplotlib.use("Agg")


@pytest.fixture(autouse=True)
def closed_figures():
    """Close what a test drew, so that the suite does not keep every picture in memory."""
    yield
    if "matplotlib.pyplot" in sys.modules:
        import matplotlib.pyplot as plt

        plt.close("all")
