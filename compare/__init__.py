"""Make the options comparable by ear, eye and number.

In: the :class:`render.sound.Rendering` of every variant of one passage. Out: a :class:`compare.trial.Trial`: clips,
plots, figures, differences in words. Start with :func:`compare.compare_passage`.
"""
