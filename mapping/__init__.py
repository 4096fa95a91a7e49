"""Turn a score and a spec into orchestral parts, and prove what was kept.

In: a :class:`reading.score.Score`, its layers, a checked spec. Out: one :class:`~mapping.arrangement.Arrangement` per
variant. Start with :func:`mapping.arrange`.
"""
