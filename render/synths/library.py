"""The handful of libfluidsynth calls that rendering needs, as Python functions.

pyfluidsynth finds and opens the library; it binds neither the float output nor per-channel generators, nor sharing one
loaded soundfont between synths, so these are bound here on the same handle.

References
----------
FluidSynth 2.3 developer documentation, ``synth.h``, ``sfont.h``, ``settings.h``, ``log.h``.
"""

from __future__ import annotations

import ctypes
from ctypes import POINTER, c_char_p, c_double, c_float, c_int, c_void_p
from functools import cache
from typing import Any

from base.errors import MissingPart

__all__ = ["GEN_ATTENUATION", "GEN_FILTERFC", "GEN_FINETUNE", "library", "library_version"]

GEN_FILTERFC = 8
GEN_ATTENUATION = 48
GEN_FINETUNE = 52

_HINT = "On Debian or Ubuntu: 'apt install libfluidsynth3'; or choose the synth 'partials', which needs nothing."
_SIGNATURES: dict[str, tuple[Any, list[Any]]] = {
    "new_fluid_settings": (c_void_p, []),
    "delete_fluid_settings": (None, [c_void_p]),
    "fluid_settings_setnum": (c_int, [c_void_p, c_char_p, c_double]),
    "fluid_settings_setint": (c_int, [c_void_p, c_char_p, c_int]),
    "new_fluid_synth": (c_void_p, [c_void_p]),
    "delete_fluid_synth": (None, [c_void_p]),
    "fluid_synth_sfload": (c_int, [c_void_p, c_char_p, c_int]),
    "fluid_synth_get_sfont_by_id": (c_void_p, [c_void_p, c_int]),
    "fluid_synth_add_sfont": (c_int, [c_void_p, c_void_p]),
    "fluid_synth_remove_sfont": (c_int, [c_void_p, c_void_p]),
    "fluid_synth_program_select": (c_int, [c_void_p, c_int, c_int, c_int, c_int]),
    "fluid_synth_cc": (c_int, [c_void_p, c_int, c_int, c_int]),
    "fluid_synth_noteon": (c_int, [c_void_p, c_int, c_int, c_int]),
    "fluid_synth_noteoff": (c_int, [c_void_p, c_int, c_int]),
    "fluid_synth_set_gen": (c_int, [c_void_p, c_int, c_int, c_float]),
    "fluid_synth_get_active_voice_count": (c_int, [c_void_p]),
    "fluid_synth_set_interp_method": (c_int, [c_void_p, c_int, c_int]),
    "fluid_synth_write_float": (c_int, [c_void_p, c_int, c_void_p, c_int, c_int, c_void_p, c_int, c_int]),
    "fluid_set_log_function": (c_void_p, [c_int, c_void_p, c_void_p]),
    "fluid_version": (None, [POINTER(c_int), POINTER(c_int), POINTER(c_int)]),
    "fluid_sfont_get_preset": (c_void_p, [c_void_p, c_int, c_int]),
    "fluid_preset_get_name": (c_char_p, [c_void_p]),
}
_LEVELS = 5  # FLUID_PANIC … FLUID_DBG
_LOG_TYPE = ctypes.CFUNCTYPE(None, c_int, c_char_p, c_void_p)


@_LOG_TYPE  # type: ignore[untyped-decorator]
def _silence(_level: int, _message: bytes, _data: int) -> None:
    """Take the library's messages, which would go to stderr; what matters is reported by return values."""


@cache
def library() -> Any:
    """Return libfluidsynth with the calls of this module bound.

    Raises
    ------
    MissingPart
        Where the library is not installed or too old.
    """
    try:
        import fluidsynth

        lib = fluidsynth._fl
    except (ImportError, OSError, AttributeError) as error:
        msg = f"the FluidSynth library is not installed ({error})."
        raise MissingPart(msg, hint=_HINT) from error
    for name, (result, arguments) in _SIGNATURES.items():
        try:
            function = lib[name]  # indexing gives a function object of our own, so pyfluidsynth's stays as it is
        except AttributeError as error:
            msg = f"the FluidSynth library is too old (it lacks {name}; version 2.0 or newer is needed)."
            raise MissingPart(msg, hint=_HINT) from error
        function.restype, function.argtypes = result, arguments
        setattr(_Bound, name, staticmethod(function))
    for level in range(_LEVELS):
        _Bound.fluid_set_log_function(level, ctypes.cast(_silence, c_void_p), None)
    return _Bound


class _Bound:
    """Holder of the bound functions."""

    fluid_set_log_function: Any
    fluid_version: Any


@cache
def library_version() -> str:
    """Return the version of the installed libfluidsynth, such as ``2.3.1``."""
    parts = [c_int(), c_int(), c_int()]
    library().fluid_version(*(ctypes.byref(part) for part in parts))
    return ".".join(str(part.value) for part in parts)
