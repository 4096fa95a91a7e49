"""Runs that are killed leave a usable cache and nothing else."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

CODE = """
import hashlib, importlib.util, sys
from pathlib import Path
spec = importlib.util.spec_from_file_location("make_music", {music!r})
music = importlib.util.module_from_spec(spec); spec.loader.exec_module(music)
import render
from base.store import Store
notes = [(beat, 1, 60 + beat) for beat in range(4)]
made = music.arrangement_of({{name: music.notes_of(*notes) for name in ("flute 1", "horn 1", "cellos")}})
print("begun", flush=True)
found = render.render_variants([made], (1, 1), passage="x", settings=render.RenderSettings(synth="partials"),
                               store=Store(Path({folder!r}) / "store"))
render.write_audio(Path({folder!r}) / "out.flac", found[0].mix)
"""


@pytest.mark.skipif(os.name == "nt", reason="kills by signal")
def test_killed_at_random_then_run_again(tmp_path):
    """After kills at random moments a run gives the file of an undisturbed one, and nothing else lies about."""

    def run(folder, kill_after_s=None):
        code = CODE.format(music=str(Path(__file__).with_name("make_music.py")), folder=str(folder))
        process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
        assert process.stdout.readline() == "begun\n"
        try:
            process.wait(kill_after_s)
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGKILL)
            process.wait()
        process.stdout.close()
        return process.returncode

    assert run(tmp_path / "clean") == 0
    chance = np.random.default_rng(11)
    codes = [run(tmp_path / "killed", float(at)) for at in chance.uniform(0.0, 0.3, 3)]
    assert -signal.SIGKILL in codes
    assert run(tmp_path / "killed") == 0
    clean, killed = ((tmp_path / name / "out.flac").read_bytes() for name in ("clean", "killed"))
    assert clean == killed
    assert {path.name for path in (tmp_path / "killed").iterdir()} == {"store", "out.flac"}
