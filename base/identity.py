"""Names for products by what made them: one hash over stage, version, parameters and inputs.

A value whose canonical form is not known is an error, never a guess: a silent wrong key would serve a wrong sound.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import fields, is_dataclass
from enum import Enum
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

__all__ = ["canonical", "digest", "file_digest"]

_CHUNK = 1 << 20


def canonical(value: object) -> Any:
    """Return *value* as JSON-ready data that is equal exactly when the values mean the same.

    Floats keep every bit (hexadecimal form), arrays are named by dtype, shape and bytes.

    Raises
    ------
    TypeError
        For a type whose canonical form is not defined here.
    """
    if value is None or isinstance(value, bool | int | str):
        return value if not isinstance(value, Enum) else [type(value).__name__, value.name]
    if isinstance(value, Enum):
        return [type(value).__name__, value.name]
    if isinstance(value, float):
        return {"float": value.hex()}
    if isinstance(value, bytes):
        return {"bytes": hashlib.sha256(value).hexdigest()}
    if isinstance(value, np.ndarray):
        data = np.ascontiguousarray(value)
        return {"array": [str(data.dtype.descr), list(data.shape), hashlib.sha256(data.tobytes()).hexdigest()]}
    return _canonical_container(value)


def _canonical_container(value: object) -> Any:
    """Canonical form of numpy scalars, fractions, dataclasses, mappings, sequences and sets."""
    if isinstance(value, np.generic):
        return canonical(value.item())
    if isinstance(value, Fraction):
        return {"fraction": [value.numerator, value.denominator]}
    if is_dataclass(value) and not isinstance(value, type):
        return {type(value).__name__: {field.name: canonical(getattr(value, field.name)) for field in fields(value)}}
    if isinstance(value, dict):
        return {"dict": sorted([canonical(key), canonical(item)] for key, item in value.items())}
    if isinstance(value, list | tuple):
        return [canonical(item) for item in value]
    if isinstance(value, set | frozenset):
        return {"set": sorted((canonical(item) for item in value), key=json.dumps)}
    msg = f"no canonical form for {type(value).__name__}: add one before using it in a cache key"
    raise TypeError(msg)


def digest(stage: str, version: int, *parameters: object) -> str:
    """Return the SHA-256 (hex) naming the product of *stage* made from *parameters*.

    Parameters
    ----------
    stage : str
        Name of the stage, e.g. ``"reading"``.
    version : int
        Raised by hand whenever the stage's output changes for the same input.
    *parameters : object
        All that the product depends on.
    """
    text = json.dumps([stage, version, canonical(list(parameters))], separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()


def file_digest(path: Path) -> str:
    """Return the SHA-256 (hex) of a file's bytes."""
    sha = hashlib.sha256()
    with Path(path).open("rb") as stream:
        while chunk := stream.read(_CHUNK):
            sha.update(chunk)
    return sha.hexdigest()
