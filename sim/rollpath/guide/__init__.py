"""The pages of `rollpath guide`, in plain markdown."""

from importlib.resources import files

TOPICS = {
    "files": "every key of every file: unit, range, default, worth",
    "method": "the physics, its symbols and sources",
    "bite": "what changes bite, what holds it, and bite on purpose",
    "tires": "taping, air, the choice of four, the plan of the night",
    "survey": "measuring a track nobody has seen",
    "feel": "what the driver feels of a stagger",
    "debrief": "after the run: what he felt, what the logger says",
    "notebook": "the record of nights, and which run to make next",
    "page": "all of it on a phone: opened, shared, kept safe",
    "python": "every job from Python",
    "checks": "what is checked against sources outside",
    "speed": "how fast it is, and how that is measured",
    "safety": "the cautions, whole",
}
"""Topics and what each page holds."""


def page(topic: str) -> str:
    """The page of a topic.

    Raises
    ------
    KeyError
        If there is none.
    """
    if topic not in TOPICS:
        raise KeyError(topic)
    return files(__name__).joinpath(f"{topic}.md").read_text(encoding="utf-8")
