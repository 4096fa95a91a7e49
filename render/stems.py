"""Stems by content: what was sounded once is not sounded again, and two threads share the work."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from itertools import count
from typing import TYPE_CHECKING, Any

import numpy as np

from base.identity import digest
from render.request import StemSound

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from base.store import Store
    from render.request import StemRequest, Synth

__all__ = ["STEM_VERSION", "sound_stems", "stem_key"]

STEM_VERSION = 3
"""Raised whenever the same request would sound different."""


def stem_key(request: StemRequest, synth: Synth) -> str:
    """Return the name of a stem: a hash of all that its samples depend on."""
    sounds = request.sounds.copy()
    sounds["note"] = 0  # which written note it was does not change the sound
    return digest("stem", STEM_VERSION, synth.identity(), sounds, request.swells, request.sample_rate_hz)


def sound_stems(
    requests: Sequence[StemRequest],
    synth: Synth,
    *,
    store: Store | None,
    workers: int = 2,
    progress: Callable[[int, int], None] | None = None,
) -> list[tuple[str, StemSound]]:
    """Return ``(key, sound)`` for every request; equal requests are sounded once.

    Parameters
    ----------
    requests : sequence of StemRequest
    synth : Synth
    store : Store or None
        Where finished stems are kept; each is kept as soon as it is done, so an interrupted run loses little.
    workers : int
        Threads.
    progress : callable, optional
        Called with stems done and stems in all.
    """
    keys = [stem_key(request, synth) for request in requests]
    first = {key: row for row, key in reversed(list(enumerate(keys)))}
    done = count(1)  # counts safely from several threads

    def make(key: str) -> StemSound:
        """Fetch or sound one stem."""
        sound = _fetched(store, key)
        if sound is None:
            sound = synth.render(requests[first[key]])
            _keep(store, key, sound)
        if progress:
            progress(next(done), len(first))
        return sound

    if workers <= 1:
        sounds = {key: make(key) for key in first}
    else:
        # Those with most notes first, so that no thread is left alone at the end.
        order = sorted(first, key=lambda key: -len(requests[first[key]].sounds))
        with ThreadPoolExecutor(workers) as pool:
            sounds = dict(zip(order, pool.map(make, order), strict=True))
    return [(key, sounds[key]) for key in keys]


def _fetched(store: Store | None, key: str) -> StemSound | None:
    """Return a kept stem."""
    entry = store.get(key) if store else None
    if entry is None:
        return None
    arrays, meta = entry
    facts: dict[str, Any] = meta or {}
    heard = tuple((int(first), int(last)) for first, last in facts["heard"])
    samples = np.zeros((int(facts["length"]), 2), np.float32)
    for row, (first, last) in enumerate(heard):
        samples[first:last] = arrays[str(row)]
    replaced, missing = (tuple((int(a), int(b)) for a, b in facts[name]) for name in ("replaced", "missing"))
    return StemSound(samples, replaced, missing, heard)


def _keep(store: Store | None, key: str, sound: StemSound) -> None:
    """Keep a finished stem, without its silence."""
    if store:
        facts = {"length": len(sound.samples), "heard": sound.stretches}
        facts |= {"replaced": sound.replaced, "missing": sound.missing}
        pieces = (np.asarray(sound.samples[first:last], np.float32) for first, last in sound.stretches)
        store.put(key, {str(row): np.ascontiguousarray(piece) for row, piece in enumerate(pieces)}, facts)
