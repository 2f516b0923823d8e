"""Files written whole or not at all, and YAML edited without losing what stands around the edit."""

import contextlib
import glob
import itertools
import os
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import yaml

from rollpath.files.reading import key_named, read_text, read_yaml
from rollpath.files.schema import FileError

LONGEST_WAIT = 10.0
"""Seconds to wait for somebody else who is writing."""
_PART = ".part"
"""Ending of a file that is being written."""


@contextlib.contextmanager
def locked(path: Path) -> Iterator[Path]:
    """Keep others of this package from writing beside a file until the block ends.

    The folder is what is locked, so that no lock file is left behind; not to be nested. Yields
    the file itself where `path` is a link to it.

    Raises
    ------
    FileError
        If somebody else holds it for longer than `LONGEST_WAIT`.
    """
    path = Path(os.path.realpath(path))
    try:
        import fcntl

        folder = os.open(path.parent, os.O_RDONLY)
    except (ImportError, OSError):  # no such lock here; what cannot be written is told later
        yield path
        return
    try:
        deadline = time.monotonic() + LONGEST_WAIT
        while True:
            try:
                fcntl.flock(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if time.monotonic() > deadline:
                    raise FileError([f"{path}: somebody else is writing it; try again"]) from None
                time.sleep(0.01)
            except OSError:  # a file system without locks
                break
        for left in path.parent.glob(f".{glob.escape(path.name)}.*{_PART}"):
            left.unlink(missing_ok=True)  # of a run that was killed: whoever writes holds the lock
        yield path
    finally:
        os.close(folder)


def write_whole(path: Path, data: str | bytes) -> None:
    """Write a file whole or not at all: beside it first, then in its place.

    Raises
    ------
    FileError
        If it cannot be written; what was there is still there.
    """
    with locked(path) as file:
        write_locked(file, data)


def write_locked(path: Path, data: str | bytes) -> None:
    """`write_whole` for who holds the lock already.

    Raises
    ------
    FileError
        If it cannot be written; what was there is still there.
    """
    try:
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=_PART)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data.encode() if isinstance(data, str) else data)
                file.flush()
                os.fsync(file.fileno())
            mode = path.stat().st_mode & 0o777 if path.exists() else 0o644
            Path(beside).chmod(mode)
            Path(beside).replace(path)
        except BaseException:
            Path(beside).unlink(missing_ok=True)
            raise
        _sync_folder(path.parent)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise FileError([f"{path}: cannot be written: {reason}"]) from None


def _sync_folder(folder: Path) -> None:
    """Make a rename last through a power cut, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def check_new(path: Path, replace_old: bool) -> None:
    """Refuse a file to write that is there already, unless it may be replaced.

    Raises
    ------
    FileError
    """
    if path.exists() and not replace_old:
        raise FileError([f"{path}: there is a file already; --replace puts the new one there"])
    if not path.parent.is_dir():
        raise FileError([f"{path}: cannot be written: no folder {path.parent}"])


def write_new(path: Path, data: str, replace_old: bool = False) -> None:
    """Write a file whole, where there is none unless the old one may be replaced.

    Parameters
    ----------
    path : Path
        In a folder that is there.
    data : str
    replace_old : bool

    Raises
    ------
    FileError
        If there is a file already, or it cannot be written.
    """
    check_new(path, replace_old)
    write_whole(path, data)


def make_folder(folder: Path) -> None:
    """Make a folder, and those above it, if it is not there."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError([f"{folder}: cannot be made: {error.strerror or error}"]) from None


# Editing


Changes = Mapping[str, str | None] | Callable[[Any], Mapping[str, str | None]]


def edit_yaml(
    path: Path,
    changes: Changes,
    *,
    keep_old: bool = True,
    check: Callable[[Path], object] | None = None,
) -> Path | None:
    """Change values of a YAML file and nothing else: comments, order and spacing stay.

    Parameters
    ----------
    path : Path
    changes : mapping of str to str, or a function that makes one of what the file holds now
        New text by dotted key, such as ``{"bite_per_inch.rear": "9.6 lb"}``; a number picks an
        item of a list. A key that is not there yet is added where its fellows are, and the number
        after the last item adds one. None takes an item out of a list.
    keep_old : bool
        False where nothing is replaced, so that the old file is no loss.
    check : callable, optional
        Reads the new file, laid aside, before it takes the place of the old one.

    Returns
    -------
    Path or None
        Where the old file is kept, beside the new one; None when it is not.

    Raises
    ------
    FileError
        If the file cannot be read, the edit cannot be made without touching something else, or
        it cannot be written; the file is then as it was.
    """
    with locked(path) as file:
        return edit_locked(path, file, changes, keep_old, check)


def edit_locked(
    path: Path,
    file: Path,
    changes: Changes,
    keep_old: bool = True,
    check: Callable[[Path], object] | None = None,
) -> Path | None:
    """`edit_yaml` for who holds the lock.

    Parameters
    ----------
    path, file : Path
        What the file is called by the racer, and where it is.
    changes, keep_old, check
        See `edit_yaml`.
    """
    before = file.read_bytes() if file.is_file() else b""
    wanted = plain(read_yaml(path))
    text = read_text(path)
    changes = changes(wanted) if callable(changes) else changes
    for key, value in changes.items():
        text = _edited(path, text, key.split("."), value)
        _put(wanted, key.split("."), value)
    if _plain_or_none(text) != wanted:
        raise FileError([f"{path}: cannot be edited safely; change {', '.join(changes)} by hand"])
    if check is not None:
        check_text(path, text, check)
    mark = b"\xef\xbb\xbf" if before.startswith(b"\xef\xbb\xbf") else b""
    kept = _free_name(path) if keep_old else None
    if kept is not None:
        write_locked(kept, before)
    write_locked(file, mark + text.encode())
    if file.read_bytes() != mark + text.encode():
        where = f"; the old file is {kept}" if kept else ""
        raise FileError([f"{path}: did not read back as written{where}"])
    return kept


def check_text(path: Path, text: str, check: Callable[[Path], object]) -> None:
    """Read what is to stand in a file, laid aside, before it stands there.

    Parameters
    ----------
    path : Path
        By its name the faults are told.
    text : str
    check : callable
        The reader of such files.

    Raises
    ------
    FileError
    """
    with tempfile.TemporaryDirectory() as aside:
        beside = Path(aside) / path.name
        beside.write_text(text, encoding="utf-8")
        try:
            check(beside)
        except FileError as error:
            raise FileError([line.replace(aside + os.sep, "") for line in error.lines]) from None


def _free_name(path: Path) -> Path:
    """A name beside the file for its old state that no file has yet."""
    names = itertools.chain(
        [f"{path.name}.old"], (f"{path.name}.old{n}" for n in itertools.count(2))
    )
    return next(beside for name in names if not (beside := path.with_name(name)).exists())


def _compose(text: str) -> yaml.Node:
    """The node tree with marks that count characters."""
    node = yaml.compose(text, Loader=yaml.SafeLoader)
    if node is None:
        raise yaml.YAMLError("empty")
    return node


def plain(node: yaml.Node) -> Any:
    """A node tree as dicts, lists and the text of its scalars."""
    if isinstance(node, yaml.MappingNode):
        return {key_named(str(key.value)): plain(value) for key, value in node.value}
    if isinstance(node, yaml.SequenceNode):
        return [plain(item) for item in node.value]
    return node.value


def _plain_or_none(text: str) -> Any:
    try:
        return plain(_compose(text))
    except yaml.YAMLError:
        return None


def _put(tree: Any, key: list[str], value: str | None) -> None:
    """Put a value into what `plain` made, or take an item out of it."""
    for name in key[:-1]:
        tree = tree[int(name)] if isinstance(tree, list) else tree.setdefault(name, {})
    if value is None:
        del tree[int(key[-1])]
        return
    new = _plain_or_none(value)
    if isinstance(tree, list):
        at = int(key[-1])
        tree[at : at + 1] = [new]
    else:
        tree[key[-1]] = new


def _edited(path: Path, text: str, key: list[str], value: str | None) -> str:
    """The text with one value replaced, or added to the innermost group that is there."""
    node = _compose(text)
    for depth, name in enumerate(key):
        inner = _child(node, name)
        if value is None:
            if depth == len(key) - 1 and isinstance(node, yaml.SequenceNode) and inner is not None:
                return _without_item(text, node, int(name))
            if inner is None:
                raise FileError([f"{path}: {'.'.join(key)}: is not there"])
            node = inner
            continue
        if (
            inner is None
            and isinstance(node, yaml.SequenceNode)
            and key[depth:] == [str(len(node.value))]
        ):
            return _with_item(text, node, value)
        if inner is None:
            return _with_added(path, text, node, key[depth:], value)
        node = inner
    assert value is not None
    in_brackets = isinstance(node, yaml.SequenceNode) and node.flow_style
    if not isinstance(node, yaml.ScalarNode) and not in_brackets:
        raise FileError([f"{path}:{node.start_mark.line + 1}: {'.'.join(key)}: expected one value"])
    start, end = node.start_mark.index, node.end_mark.index
    space = " " if start == end else ""
    return text[:start] + space + value + text[end:]


def _child(node: yaml.Node, name: str) -> yaml.Node | None:
    if isinstance(node, yaml.MappingNode):
        return next((value for key, value in node.value if key_named(key.value) == name), None)
    if isinstance(node, yaml.SequenceNode) and name.isdecimal() and int(name) < len(node.value):
        item: yaml.Node = node.value[int(name)]
        return item
    return None


def _with_added(path: Path, text: str, node: yaml.Node, key: list[str], value: str) -> str:
    """The text with a key added to a mapping: inside its braces, or on a line after its last."""
    if not isinstance(node, yaml.MappingNode):
        line = node.start_mark.line + 1
        raise FileError([f"{path}:{line}: {key[0]}: expected a group of keys to put it into"])
    for name in reversed(key[1:]):
        value = f"{{{name}: {value}}}"
    entry = f"{key[0]}: {value}"
    if node.flow_style:
        return _inside(text, node, entry)
    return _on_a_line(text, node, " " * node.value[0][0].start_mark.column + entry)


def _with_item(text: str, node: yaml.SequenceNode, value: str) -> str:
    """The text with an item added to a list: inside its brackets, or on a line after its last."""
    if node.flow_style:
        return _inside(text, node, value)
    return _on_a_line(text, node, f"{' ' * node.start_mark.column}- {value}")


def _without_item(text: str, node: yaml.SequenceNode, at: int) -> str:
    """The text without an item of a list: its lines, or what stands between its commas."""
    item = node.value[at]
    start, end = item.start_mark.index, _end_of_content(item)
    if not node.flow_style:
        start = text.rfind("\n", 0, start) + 1
        stop = text.find("\n", end)
        return text[:start] + (text[stop + 1 :] if stop >= 0 else "")
    if at + 1 < len(node.value):
        return text[:start] + text[node.value[at + 1].start_mark.index :]
    before = node.value[at - 1].end_mark.index if at else start
    return text[:before] + text[end:]


def _inside(text: str, node: yaml.CollectionNode, entry: str) -> str:
    """The text with an entry before the closing bracket, or before a comment that stands there."""
    close = node.end_mark.index - 1
    body = text[:close].rstrip()
    if not node.value:
        return body + entry + text[close:]
    last = node.value[-1]
    end = (last[1] if isinstance(last, tuple) else last).end_mark.index
    if "#" in text[end:close]:
        return f"{text[:end]}, {entry}{text[end:]}"
    return body + (" " if body.endswith(",") else ", ") + entry + text[close:]


def _on_a_line(text: str, node: yaml.CollectionNode, line: str) -> str:
    stop = text.find("\n", _end_of_content(node))
    newline = "\r\n" if "\r\n" in text else "\n"
    if stop < 0:
        return f"{text}{newline}{line}{newline}"
    return f"{text[: stop + 1]}{line}{newline}{text[stop + 1 :]}"


def _end_of_content(node: yaml.Node) -> int:
    """Where the last value of a node ends; a block's own end mark lies after what follows it."""
    if isinstance(node, yaml.CollectionNode) and node.value and not node.flow_style:
        last = node.value[-1]
        return _end_of_content(last[1] if isinstance(last, tuple) else last)
    return int(node.end_mark.index)
