"""Read notation truthfully and say what must be rethought for orchestra.

In: a score file. Out: a :class:`~reading.score.Score` (times in ticks, 10 080 to the quarter; sounding MIDI pitch),
its layers and findings. Start with :func:`reading.read`.
"""
