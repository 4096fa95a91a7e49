"""The built-in measures, registered in ``pyproject.toml`` like anyone's: see :mod:`compare.measuring` for the contract.

Each module holds one measure: its quantities with definition, source and the smallest difference worth saying, a few
pure functions on arrays, and a small class that ties them to a :class:`compare.sound.Sound`.
"""
