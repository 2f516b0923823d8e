"""Pages of the guide on a terminal."""

import re
import textwrap

from rollpath.guide import TOPICS
from rollpath.screen import Screen
from rollpath.show.words import columns, lay_out, row

_KEPT = re.compile(r"^( {4}|#|$)")
"""Lines that stand as they are: code, headings, nothing."""
_ITEM = re.compile(r"^(\s*)([-*]|\d+\.) ")
_RULE = re.compile(r"^\|[-:| ]+\|$")


def topics_screen(screen: Screen) -> str:
    """The topics and what each holds."""
    rows = [row(topic, held) for topic, held in TOPICS.items()]
    return lay_out(["The guide: rollpath guide TOPIC", *rows], screen)


def page_screen(text: str, screen: Screen) -> str:
    """A page of plain markdown, its paragraphs and tables laid out for the width of a terminal."""
    told: list[str] = []
    for block in _blocks(text.splitlines()):
        if block[0].startswith("|"):
            rows = [_cells(line) for line in block if not _RULE.match(line)]
            told.append(lay_out(columns(rows, len(rows[0])), screen) if _fits(rows, screen)
                        else _stacked(rows, screen))  # fmt: skip
        elif block[0].startswith("#"):
            told += textwrap.wrap(block[0], screen.width) or block
        elif _KEPT.match(block[0]):
            told += block
        else:
            told.append(_wrapped(block, screen.width))
    return "\n".join(told)


def _blocks(lines: list[str]) -> list[list[str]]:
    """Lines that belong together: a paragraph, an item of a list, a table, or one kept line."""
    blocks: list[list[str]] = []
    for line in lines:
        last = blocks[-1][-1] if blocks else ""
        both_table = line.startswith("|") and last.startswith("|")
        alone = _KEPT.match(line) or _KEPT.match(last) or _ITEM.match(line)
        starts = line.startswith("|") or last.startswith("|") or alone
        if blocks and (both_table or not starts):
            blocks[-1].append(line)
        else:
            blocks.append([line])
    return blocks


def _wrapped(block: list[str], width: int) -> str:
    item = _ITEM.match(block[0])
    indent = " " * len(item[0]) if item else ""
    text = " ".join(line.strip() for line in block)
    first = item[1] if item else ""
    return textwrap.fill(
        text, width, initial_indent=first, subsequent_indent=indent,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip


def _cells(line: str) -> list[str]:
    return [cell.strip() for cell in line.strip().strip("|").split("|")]


def _fits(rows: list[list[str]], screen: Screen) -> bool:
    widest = [max(len(cell) for cell in column) for column in zip(*rows, strict=False)]
    return sum(widest) + 2 * len(widest) <= screen.width


def _stacked(rows: list[list[str]], screen: Screen) -> str:
    """A table that is too wide: a block a row, its first cell as the head."""
    lines = []
    for cells in rows[1:]:
        lines.append(_wrapped([cells[0]], screen.width))
        for heading, cell in zip(rows[0][1:], cells[1:], strict=False):
            if cell:
                told = f"{heading}: {cell}" if heading else cell
                lines.append(textwrap.indent(_wrapped([told], screen.width - 2), "  "))
    return "\n".join(lines)
