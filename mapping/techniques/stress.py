"""``stress``: an accent realised by what an orchestra adds to it."""

from __future__ import annotations

from typing import Literal

from mapping.accents import struck_notes
from mapping.draft import Context, Draft
from mapping.open_notes import marks_for, only_open
from mapping.steps import NaturalOptions, OnOptions

__all__ = ["Stress"]


class Stress:
    """Realise accents: added players strike with them.

    ``by`` says how: ``chord`` (a short chord over all players named), ``multiple stops`` (three- and four-note chords
    on the strings), ``timpani`` (the drum nearest to the bass), ``fp`` (struck, then soft at once and held), ``grace
    run`` (a run-up of three notes to the highest note), ``pizzicato`` (plucked under what sounds), ``short over held``
    (one group strikes while another holds the chord softly).

    References
    ----------
    H. Riemann, *Catechism of Orchestration*, ch. I (chords of two to four notes, run-up of three or four grace notes);
    N. Rimsky-Korsakov, *Principles of Orchestration* (1922), ch. III p. 69 (chords on the strings are short), ch. IV
    ("Sforzando-piano chords"). Percussion on accents: ibid., ch. IV.
    """

    name = "stress"

    class Options(NaturalOptions, OnOptions):
        """``stress: accents | notes``, ``on``, ``by``, ``notes``, ``crook``."""

        stress: Literal["accents", "notes"]
        by: Literal["chord", "multiple stops", "timpani", "fp", "grace run", "pizzicato", "short over held"] = "chord"

    def apply(self, draft: Draft, options: Options, context: Context) -> Draft:
        """Return the draft with the accents realised."""
        every = options.stress == "notes"
        struck = struck_notes(draft.notes, context, options, options.on, options.by, every=every)
        if options.notes == "all":
            return draft.adding(*struck)
        marks = marks_for(context, options.on, options.bars, options.crook)
        return draft.adding(*(only_open(notes, context, options.bars, options.crook) for notes in struck), marks=marks)

    def describe(self, options: Options) -> str:
        """Return the step in words."""
        what = "the accents" if options.stress == "accents" else "every attack"
        return f"{' and '.join(options.on)} stress {what} by {options.by}"
