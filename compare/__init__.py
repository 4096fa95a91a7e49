"""Make the options comparable by ear, eye and number.

In: the :class:`render.sound.Rendering` of every variant of one passage. Out: a :class:`compare.trial.Trial`: clips,
plots, figures, differences in words. Start with :func:`compare.compare_passage`; :mod:`compare.plots` draws,
:mod:`compare.listening` runs and judges listening tests.
"""

from compare.clips import ClipFiles, write_clips
from compare.naming import file_names, slug
from compare.trial import Heard, Trial, compare_passage

__all__ = ["ClipFiles", "Heard", "Trial", "compare_passage", "file_names", "slug", "write_clips"]
