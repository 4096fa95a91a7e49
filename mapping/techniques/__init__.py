"""The built-in techniques, one file per verb; they reach the core only through the entry points in pyproject.toml.

``docs/techniques.md`` says what each does musically and shows how to write one.
"""
