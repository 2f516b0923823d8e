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
    import numpy as np
    from rollpath.survey.log import PositionLog, SurveyError
    from rollpath.survey.measured import survey_by_log
    from wild_logs import bent_line, recorded, rippled, wander

    def is_oval(rng: Any, line: Any) -> bool | None:
        time, z = recorded(rng, line, lambda r, t: wander(r, t, r.uniform(1, 3), 40), laps=4.0)
        try:
            fit = survey_by_log(PositionLog(z.real, z.imag, time)).fit
        except SurveyError:
            return None
        assert fit is not None
        return fit.is_oval

    said: dict[str, list[bool | None]] = {"wavering": [], "bent": []}
    for seed in range(count):
        rng = np.random.default_rng([STEM, seed])
        said["wavering"].append(is_oval(rng, rippled(rng, 1.8)[0]))
        said["bent"].append(is_oval(rng, bent_line(rng, 6.0)[0]))
    false, missed = said["wavering"].count(False), said["bent"].count(True)
    return [
        (f"ovals that waver by 6 ft, {count}", f"false noes {false}, refused "
         f"{said['wavering'].count(None)}"),
        (f"doglegs, D shapes and the like, {count}", f"missed noes {missed}, refused "
         f"{said['bent'].count(None)}"),
    ]  # fmt: skip
