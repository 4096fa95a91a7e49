"""What is known while an MEI document is read: the state that the readers of its parts share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from reading.draft import Draft

if TYPE_CHECKING:
    from pathlib import Path

    from reading.draft import RawBar, RawNote

__all__ = ["MeiState"]


class MeiState:
    """State while walking through the score.

    Attributes
    ----------
    places : dict
        Staff number of the document to ``(part row, staff within the part)``.
    by_id : dict
        Notes and chords by their xml:id, for slurs, ties and ornaments.
    """

    def __init__(self, root: Any, path: Path) -> None:
        self.root, self.path = root, path
        self.draft = Draft()
        self.places: dict[int, tuple[int, int]] = {}
        self.transpose: dict[int, tuple[int, int]] = {}
        self.by_id: dict[str, list[RawNote]] = {}
        self.moment_of: dict[str, tuple[int, int, int]] = {}
        self.pedals: dict[tuple[int, str], Any] = {}
        self.ties: list[tuple[str, str, int]] = []
        self.chords = 0
        self.dashed: dict[tuple[int, str, str], bool] = {}  # by staff, layer and verse: a hyphen goes on
        self.volta = 0
        self.speed = ""  # a tempo waiting for the next bar
        self.metre = (4, 4)
        self.key = (0, -1)
        self.controls: list[tuple[Any, RawBar]] = []
