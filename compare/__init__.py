"""Make the options comparable by ear, eye and number.

In: the :class:`render.sound.Rendering` of every variant of one passage. Out: a :class:`compare.trial.Trial`: clips,
plots, figures, differences in words. Start with :func:`compare.compare_passage`; :mod:`compare.plots` draws,
:mod:`compare.listening` runs and judges listening tests.
"""

from compare.changes import Change
from compare.clips import ClipFiles, write_clips
from compare.front import Fronts
from compare.heard import Heard
from compare.naming import file_names, slug
from compare.trial import Trial, compare_passage

__all__ = ["Change", "ClipFiles", "Fronts", "Heard", "Trial", "compare_passage", "file_names", "slug", "write_clips"]
