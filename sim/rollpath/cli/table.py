"""Every command by its name and what it is asked, without entering any room."""

from importlib import import_module

TYPE_CHECKING = False
if TYPE_CHECKING:  # a flag of our own: the `typing` module would be a fifth of a cold `--help`
    from rollpath.cli.arguments import Command

QUESTIONS: dict[str, str] = {
    "trailer": "The trailer: set up by asking, then shown.",
    "tonight": "Where we are tonight and what the surface is; what to do about it.",
    "bolt": "Tires bolted on, written down.",
    "air": "Air let in or out, and what it does.",
    "pads": "What the scale pads read, written down.",
    "undo": "Take back the last thing written down.",
    "survey": "The shape of a track from a tape, a lap length, or a phone's position log.",
    "baseline": "Which rear stagger to start with on a track, and why.",
    "compare": "How tracks, surfaces and lines differ in what they ask for, side by side.",
    "bite": "What a change does on the scales, and what holds bite.",
    "tires": "Which four tires of the rack to bolt on.",
    "tires tape": "Write down a taping of a tire of the rack.",
    "plan": "The night's tires, air and jacks, run by run.",
    "feel": "What the driver feels of a rear stagger in the wheel, and where on the lap.",
    "debrief": "Where on the lap the axle scrubbed, one page for the driver; "
    "more, less, or not stagger.",
    "notebook": "The record of nights: write runs down, find them, and see what they teach.",
    "notebook add": "Write a run down.",
    "notebook list": "Find runs.",
    "notebook show": "All of one run, and what it was before edits.",
    "notebook edit": "Correct a run; the old values stay in the book.",
    "notebook export": "Write the whole book as CSV or JSON.",
    "notebook import": "Take runs from a CSV or JSON; what is there already stays.",
    "notebook backup": "Copy the book to another file.",
    "notebook next": "Which stagger to run next to learn most, and the evening it begins.",
    "notebook review": "What changed between runs, and what the nights teach.",
    "page": "All of it on a phone: pages served from the trailer.",
    "guide": "How and why, a page a topic.",
    "demo-data": "Copy the invented demo tracks and cars, to try things on.",
    "completion": "Let the shell complete commands and options.",
}
"""By command, as a race night goes; the commands themselves stand in a module each."""
FIRST_WORDS = tuple(dict.fromkeys(name.partition(" ")[0] for name in QUESTIONS))
"""First words of the commands, as a race night goes; each has a module, loaded when asked."""
_TOGETHER = {"tonight": "trailer", "air": "bolt", "pads": "bolt", "undo": "bolt"}
"""Words whose commands stand in the module of another."""


def commands_of(first_word: str) -> "dict[str, Command]":
    """The commands that begin with one word, from their module."""
    room = _TOGETHER.get(first_word, first_word.replace("-", "_"))
    module = import_module(f"rollpath.cli.{room}")
    commands: dict[str, Command] = module.COMMANDS
    return commands


def all_commands() -> "dict[str, Command]":
    """Every command by its name, in the order of the overview."""
    return {name: one for word in FIRST_WORDS for name, one in commands_of(word).items()}


def overview() -> str:
    """Every command and what it is asked."""
    width = max(map(len, QUESTIONS)) + 2
    lines = [f"  {name:<{width}}{question}" for name, question in QUESTIONS.items()]
    return "\n".join(
        ["rollpath: rear stagger for a locked axle on a dirt oval", "", *lines, "",
         "rollpath COMMAND --help shows an example and every option."]
    )  # fmt: skip
