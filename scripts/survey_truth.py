"""How often a survey by position log is right, on made logs that the package did not make.

python3 scripts/bench.py --truth [count]

Three makers of logs, by two hands; other seeds of them were looked at while the survey was made.
"""

from collections.abc import Callable
from typing import Any

STEM = 5000
"""Seeds start here, apart from those of the tests and of the tuning."""


def survey_truth(count: int = 200) -> list[tuple[str, str]]:
    """Rows of a table: what was surveyed, and how it came out; a third of `count` of each kind."""
    from wild_logs import first_kind, second_kind
    from wild_logs_more import third_kind

    rows = [
        (f"{kind.__name__.replace('_', ' ')}, {count // 3} ovals", _ovals(kind, count // 3))
        for kind in (first_kind, second_kind, third_kind)
    ]
    return [*rows, *_outlines(count // 4)]


def _ovals(kind: Callable[[int], Any], count: int) -> str:
    import numpy as np
    from rollpath.survey.log import PositionLog, SurveyError
    from rollpath.survey.measured import survey_by_log

    right, gross, refused, noes, inside = 0, 0, 0, 0, []
    for seed in range(STEM, STEM + count):
        made = kind(seed)
        try:
            told = survey_by_log(PositionLog(made.x, made.y, made.time))
        except SurveyError:
            refused += 1
            continue
        off = min(
            (np.abs(np.subtract(told.inside_radius, true))
             for true in (made.radii, made.radii[::-1])), key=np.max,
        )  # fmt: skip
        share = float(np.max(off / np.mean(made.radii)))
        straight = abs(told.straight - made.straight)
        right += share <= 0.05 and straight <= 15 * 0.3048
        gross += share > 0.1 or straight > 30 * 0.3048
        noes += told.fit is not None and not told.fit.is_oval
        inside += [*(off <= told.tolerance.inside_radius), straight <= told.tolerance.straight]
    return (
        f"radii within 5 % and straight within 15 ft {right}, grossly off {gross}, refused "
        f"{refused}, false noes {noes}; tolerances hold {100 * np.mean(inside):.0f} %"
    )


def _outlines(count: int) -> list[tuple[str, str]]:
    """Outlines by how far they are off the oval of least squares, found without the package."""
    import numpy as np
    from rollpath.survey.log import PositionLog, SurveyError
    from rollpath.survey.measured import survey_by_log
    from wild_logs import bent_line, recorded, rippled, wander
    from wild_logs_more import third_outline

    def is_oval(rng: Any, line: Any) -> bool | None:
        time, z = recorded(rng, line, lambda r, t: wander(r, t, r.uniform(1, 2), 40), laps=4.0)
        try:
            fit = survey_by_log(PositionLog(z.real, z.imag, time)).fit
        except SurveyError:
            return None
        assert fit is not None
        return fit.is_oval

    said: dict[str, list[bool | None]] = {"at most 6 ft": [], "6 to 8 ft": [], "8 ft and more": []}
    for seed in range(4 * count):
        rng = np.random.default_rng([STEM, seed])
        size = rng.uniform(0.5, 7.0)
        if seed % 4 < 2:
            line = bent_line(rng, size)[0]
        else:
            line = rippled(rng, 0.5 * size)[0] if seed % 4 == 2 else third_outline(rng, size)
        off = off_any_oval(line) / 0.3048
        kind = "at most 6 ft" if off <= 6 else "6 to 8 ft" if off < 8 else "8 ft and more"
        said[kind].append(is_oval(rng, line if line[0] == line[-1] else np.append(line, line[0])))
    return [
        (f"outlines off every oval by {kind}, {len(told)}",
         f"called ovals {told.count(True)}, no ovals {told.count(False)}, refused "
         f"{told.count(None)}")
        for kind, told in said.items()
    ]  # fmt: skip


def off_any_oval(line: Any) -> float:
    """Largest distance of a closed line from the oval of four arcs that fits it by least squares.

    Ovals are drawn and fitted here without the package: points of `wild_logs_more.arcs`, the
    nearest of them to each point of the line, and scipy.optimize.least_squares.
    """
    import numpy as np
    from scipy.optimize import least_squares
    from scipy.spatial import cKDTree
    from wild_logs_more import arcs

    z = np.asarray(line)[:: max(len(line) // 300, 1)]

    def oval(q: Any) -> Any:
        (R_1, R_2, straight), turn = np.exp(np.clip(q[3:6], 1.5, 6.0)), 2 * np.tanh(q[6]) ** 2
        straight = max(straight, 1.2 * abs(R_1 - R_2))
        ring = arcs(R_1, R_2, straight, turn, 0.0)
        return (ring - ring.mean()) * np.exp(1j * q[2]) + q[0] + 1j * q[1]

    def distances(q: Any) -> Any:
        try:
            ring = oval(q)
        except ValueError:  # no such oval
            return np.full(len(z), 1e3)
        at = cKDTree(np.column_stack([ring.real, ring.imag])).query(
            np.column_stack([z.real, z.imag]))[1]  # fmt: skip
        way = np.roll(ring, -1)[at] - np.roll(ring, 1)[at]
        return ((z - ring[at]) * np.conj(-1j * way / np.abs(way))).real

    middle = z - z.mean()
    heading = 0.5 * np.angle(np.mean(middle**2))
    w = middle * np.exp(-1j * heading)
    R = 0.5 * np.ptp(w.imag)
    straight = max(np.ptp(w.real) - 2 * R, 10.0)
    best = np.inf, 0.0
    for turn in (0.1, 0.5):
        start = [z.mean().real, z.mean().imag, heading, *np.log([R, R, straight]), turn]
        fit = least_squares(
            distances, start, diff_step=1e-4, x_scale=[1, 1, 0.05, 0.1, 0.1, 0.2, 0.2], max_nfev=40
        )
        best = min(best, (fit.cost, float(np.max(np.abs(fit.fun)))))
    return best[1]
