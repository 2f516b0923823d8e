"""What all tests share: no screen, no figure left open, the same drawn cases every time."""

import os
import sys

import matplotlib
import pytest
from hypothesis import settings

matplotlib.use("Agg")

# The same cases every time, so that a change is what turns a test red; HYPOTHESIS_PROFILE=wild
# draws new ones.
settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("wild", deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))


@pytest.fixture(autouse=True)
def closed_figures():
    """Close what a test drew, so that the suite does not keep every picture in memory."""
    yield
    if "matplotlib.pyplot" in sys.modules:
        import matplotlib.pyplot as plt

        plt.close("all")
