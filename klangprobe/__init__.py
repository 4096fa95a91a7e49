"""The app: command line, Python front door, listening pages, lesson packs."""

__version__ = "0.1.0"
