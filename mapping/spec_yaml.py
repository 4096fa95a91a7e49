"""YAML to plain data with the place of every key and value; hostile files are stopped before anything is built.

The node tree is walked by hand: that gives line and column for everything, refuses keys that are not plain words and
keys said twice, and bounds what aliases can blow up to.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from base.errors import Problem

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["MAX_BYTES", "MAX_VALUES", "KeyPath", "Located", "read_yaml"]

MAX_BYTES = 200_000
"""A spec is written by hand; a larger file is not one, and would take seconds to parse."""

MAX_VALUES = 50_000
"""Values after aliases are followed: nine lines of nested aliases can stand for billions."""

_MAX_DEPTH = 30
_PREFIX = "tag:yaml.org,2002:"
KeyPath = tuple[str | int, ...]
"""Keys and rows from the top of the file to a value."""


@dataclass
class Located:
    """Plain data and where each part of it stands in the file (line and column from 1).

    Attributes
    ----------
    data : object
        Dicts, lists and scalars.
    values, keys : dict
        Path (keys and list positions) to (line, column) of the value, and of the key before it.
    problems : list of Problem
    """

    data: Any = None
    values: dict[KeyPath, tuple[int, int]] = field(default_factory=dict)
    keys: dict[KeyPath, tuple[int, int]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def place(self, path: KeyPath, *, value: bool = False) -> tuple[int | None, int | None]:
        """Return line and column of *path*, or of the nearest thing around it that stands in the file.

        Parameters
        ----------
        path : tuple of str or int
        value : bool
            Point at the value rather than at its key.
        """
        for length in range(len(path), -1, -1):
            places = (self.values, self.keys) if value else (self.keys, self.values)
            found = places[0].get(path[:length]) or places[1].get(path[:length])
            if found:
                return found
        return None, None


def read_yaml(path: Path) -> Located:
    """Return the contents of a YAML file with their places; what cannot be read is in ``problems``.

    Parameters
    ----------
    path : Path
        At most 200 kB of UTF-8.
    """
    found = Located()
    try:
        data = path.read_bytes()
    except OSError as error:
        found.problems.append(
            Problem(f"cannot be read ({error.strerror or error}).", hint="Check the name of the file.")
        )
        return found
    if len(data) > MAX_BYTES:
        found.problems.append(Problem(f"is {len(data)} bytes long; a spec is at most {MAX_BYTES}."))
        return found
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found.problems.append(Problem(f"is not UTF-8 text (byte {error.start}).", hint="Save it as UTF-8."))
        return found
    node = _compose(text, found)
    if node is not None:
        found.data = _Walk(found).value(node, (), ())
    elif not found.problems:
        found.problems.append(Problem("is empty.", hint="'klangprobe start SCORE' writes a first spec."))
    return found


def _compose(text: str, found: Located) -> Any:
    """Node tree of the text, or None with the problem noted."""
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError

    if _brackets(text) > _MAX_DEPTH:  # the parser's time grows with the square of the depth
        found.problems.append(Problem("is nested too deeply to be a spec."))
        return None
    try:
        return YAML(typ="rt", pure=True).compose(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (None, None)
        message = f"is not YAML: {error.problem or error.context}."
        found.problems.append(Problem(message, line, column, hint="Look at the quotes, brackets and indents here."))
    except (YAMLError, ValueError) as error:
        found.problems.append(Problem(f"is not YAML: {str(error).splitlines()[0]}."))
    except RecursionError:
        found.problems.append(Problem("is nested too deeply to be a spec."))
    return None


def _brackets(text: str) -> int:
    """How deep brackets are open at most (quotes are not looked at: no spec comes near the limit)."""
    depth = deepest = 0
    for sign in text:
        if sign in "[{":
            depth += 1
            deepest = max(deepest, depth)
        elif sign in "]}":
            depth -= 1
    return deepest


class _Walk:
    """One walk over a node tree, counting what it builds."""

    def __init__(self, found: Located) -> None:
        self.found = found
        self.count = 0

    def problem(self, message: str, node: Any, path: KeyPath, hint: str = "") -> None:
        """Note a problem at a node."""
        mark = node.start_mark
        place = ".".join(str(part) for part in path)
        self.found.problems.append(Problem(message, mark.line + 1, mark.column + 1, place, hint))

    def value(self, node: Any, path: KeyPath, above: tuple[int, ...]) -> Any:
        """Plain data of one node; *above* holds the nodes it lies in."""
        self.count += 1
        if self.count > MAX_VALUES:
            if self.count == MAX_VALUES + 1:
                self.problem("the aliases (*name) repeat too much.", node, path, "Write the repeated part out once.")
            return None
        if id(node) in above or len(above) > _MAX_DEPTH:
            self.problem("is nested in itself or too deeply.", node, path)
            return None
        self.found.values[path] = (node.start_mark.line + 1, node.start_mark.column + 1)
        inside = (*above, id(node))
        if node.id == "scalar":
            return self._scalar(node, path)
        if node.id == "sequence":
            return [self.value(item, (*path, row), inside) for row, item in enumerate(node.value)]
        return self._mapping(node, path, inside)

    def _mapping(self, node: Any, path: KeyPath, inside: tuple[int, ...]) -> dict[str, Any]:
        """Dict of a mapping node; bad and repeated keys are problems."""
        data: dict[str, Any] = {}
        for key, item in node.value:
            if key.id != "scalar" or key.value == "<<":
                self.problem("a key here is not a plain word.", key, path)
                continue
            name = str(key.value)
            if name in data:
                self.problem(f"'{name}' is said twice.", key, path, "Keep one of the two.")
                continue
            self.found.keys[(*path, name)] = (key.start_mark.line + 1, key.start_mark.column + 1)
            data[name] = self.value(item, (*path, name), inside)
        return data

    def _scalar(self, node: Any, path: KeyPath) -> Any:
        """Python value of a scalar node."""
        kind, text = str(node.tag).removeprefix(_PREFIX), str(node.value)
        try:
            if kind == "int":
                return int(text.replace("_", ""), 0 if text[:2] in {"0x", "0o"} else 10)
            if kind == "float":
                return float(text.replace("_", ""))
        except ValueError:
            return text
        if kind == "null":
            return None
        if kind == "bool":
            return text.lower() == "true"
        if kind not in {"str", "timestamp"}:
            self.problem(f"the tag '{node.tag}' has no meaning in a spec.", node, path, "Leave the tag out.")
        return text
