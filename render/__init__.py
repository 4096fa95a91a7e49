"""Turn an arrangement into believable, balanced sound.

In: a :class:`mapping.arrangement.Arrangement`, a range of bars, a soundfont, a stage. Out: stems and their mix, float32
at 48 kHz, named by content. Start with :func:`render.render_passage`.
"""
