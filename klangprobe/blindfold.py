"""``klangprobe blind``: listen without knowing which variant sounds, and see what the answers can and cannot show.

The clips of a trial are laid out as files of one size without names or tags; they are played by any command the user
names, or by hand. Answers are read line by line from standard input.
"""

from __future__ import annotations

import json
import shlex
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from base.errors import InputError, nearest
from klangprobe.console import say
from klangprobe.folder import REPORT, is_ours

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from compare.listening import MatchingAnswer, MatchingTrial, Rating, RatingTrial

__all__ = ["Sitting", "judge", "run"]

_STOP = "stop"
_MOST_MARKED = 11  # letters A to L with the muffled copy


@dataclass(frozen=True)
class Sitting:
    """What one listener is asked.

    Attributes
    ----------
    folder : Path
        Written by ``hear``.
    passages : tuple of str
        Empty: all.
    variants : tuple of str
        Matching: two (empty: the first two). Rating: the first is the open reference.
    trials : int
        Matching trials.
    question : str
        Not empty: a rating of this question instead of matching trials.
    listener : str
    player : str
        Command that plays a file; empty: the files are played by hand.
    results : Path or None
        JSON file to write.
    """

    folder: Path
    passages: tuple[str, ...] = ()
    variants: tuple[str, ...] = ()
    trials: int = 16
    question: str = ""
    listener: str = "listener"
    player: str = ""
    results: Path | None = None


def run(sitting: Sitting) -> None:
    """Hold a listening test and say what it shows.

    Raises
    ------
    InputError
        Where the folder is none of ours, or has not the passages and variants asked for.
    """
    from compare.listening import Session, write_session

    clips = _clips(sitting)
    _refuse_to_overwrite(sitting.results)
    with tempfile.TemporaryDirectory(prefix="klangprobe-blind-") as made:
        if sitting.question:
            ratings = _rate(sitting, clips, Path(made))
            session = Session("rating", sitting.listener, question=sitting.question, ratings=tuple(ratings))
        else:
            answers = _match(sitting, clips, Path(made))
            session = Session("matching", sitting.listener, planned=sitting.trials, answers=tuple(answers))
    if sitting.results:
        write_session(session, sitting.results)
        say(f"Written: {sitting.results}")
    _say_judgement([session])


def judge(paths: Sequence[Path], *, csv: Path | None) -> None:
    """Pool the sessions of several listeners and say what they show together."""
    from base.writing import write_text
    from compare.listening import as_csv, read_session

    sessions = [read_session(path) for path in paths]
    if csv:
        write_text(csv, as_csv(sessions))
        say(f"Written: {csv}")
    _say_judgement(sessions)


def _clips(sitting: Sitting) -> dict[str, dict[str, Path]]:
    """Return the matched clips by passage and variant, as the folder's report names them."""
    if not is_ours(sitting.folder):
        msg = f"is not a folder written by 'klangprobe hear' (no {REPORT} of ours in it)."
        raise InputError(msg, path=sitting.folder, hint="Run 'klangprobe hear SPEC' first.")
    report: dict[str, Any] = json.loads((sitting.folder / REPORT).read_text(encoding="utf-8"))
    found: dict[str, dict[str, Path]] = {}
    for passage in report["passages"]:
        if not sitting.passages or passage["name"] in sitting.passages:
            found[passage["name"]] = {
                variant["name"]: sitting.folder / variant["clips"]["matched"] for variant in passage["variants"]
            }
    known = [passage["name"] for passage in report["passages"]]
    for name in sitting.passages:
        if name not in known:
            raise InputError(f"there is no passage '{name}'.", path=sitting.folder, hint=nearest(name, known))
    for variants in found.values():
        for name in sitting.variants:
            if name not in variants:
                raise InputError(f"there is no variant '{name}'.", path=sitting.folder, hint=nearest(name, variants))
    return found


def _refuse_to_overwrite(results: Path | None) -> None:
    """A listener's answers are never overwritten."""
    if results and results.exists():
        raise InputError("exists already.", path=results, hint="Choose another name with --results.")


def _match(sitting: Sitting, clips: dict[str, dict[str, Path]], made: Path) -> list[MatchingAnswer]:
    """Ask the matching trials."""
    from compare.listening import MatchingAnswer, plan_matching, power_in_words

    pair = _pair(sitting, clips)
    plan = plan_matching(list(clips), pair, sitting.trials)
    say(f"{sitting.trials} trials: is the unknown {_both(pair)}? Answer 1 or 2, as each trial offers them.")
    say(power_in_words(sitting.trials))
    answers: list[MatchingAnswer] = []
    for trial in plan:
        begun_s = time.monotonic()
        answer = _ask_match(sitting, trial, clips[trial.passage], made)
        if answer is None:
            break
        answers.append(MatchingAnswer(sitting.listener, trial, answer, round(time.monotonic() - begun_s, 1)))
    return answers


def _both(pair: tuple[str, str]) -> str:
    return f"'{pair[0]}' or '{pair[1]}'"


def _pair(sitting: Sitting, clips: dict[str, dict[str, Path]]) -> tuple[str, str]:
    """The two variants of a matching test."""
    names = sitting.variants or tuple(next(iter(clips.values())))[:2]
    if len(names) != 2 or names[0] == names[1]:
        msg = f"a matching test needs two different variants, not {len(set(names))}."
        raise InputError(msg, path=sitting.folder, hint="Name them: --variants A B.")
    return names[0], names[1]


def _ask_match(sitting: Sitting, trial: MatchingTrial, clips: Mapping[str, Path], made: Path) -> str | None:
    """Return the variant named, or None where the listener stops."""
    files = _lay_out({"1": clips[trial.first], "2": clips[trial.second], "unknown": clips[trial.hidden]}, made)
    say(f"\nTrial {trial.number}, {trial.passage}: 1 is {trial.first}, 2 is {trial.second}.")
    heard = {"1": trial.first, "2": trial.second}
    prompt = "The unknown is (1 or 2, 'stop' to stop)"
    _say_files(sitting, files)
    return _asked(sitting, files, prompt, lambda text: heard.get(text))


def _rate(sitting: Sitting, clips: dict[str, dict[str, Path]], made: Path) -> list[Rating]:
    """Ask for marks, letter by letter."""
    from compare.listening import Rating, plan_ratings

    variants = sitting.variants or tuple(next(iter(clips.values())))
    if not 2 <= len(set(variants)) <= _MOST_MARKED:
        msg = f"marking needs 2 to {_MOST_MARKED} different variants, not {len(set(variants))}."
        raise InputError(msg, path=sitting.folder, hint="Name them: --variants A B C.")
    plan = plan_ratings(list(clips), variants, variants[0], sitting.question)
    say(f"{sitting.question} Give marks from 0 to 100.")
    say(f"The reference, {variants[0]}, is hidden among the letters: give it 100.")
    ratings: list[Rating] = []
    for trial in plan:
        files = _lay_out(_behind(trial, clips[trial.passage]), made)
        say(f"\n{trial.passage}")
        _say_files(sitting, files)
        for row, name in enumerate(trial.behind):
            letter = chr(ord("A") + row)
            mark = _asked(sitting, files, f"Mark for {letter} (0 to 100, 'stop' to stop)", _mark)
            if mark is None:
                return ratings
            ratings.append(Rating(sitting.listener, trial.passage, name, float(mark)))
    return ratings


def _behind(trial: RatingTrial, clips: Mapping[str, Path]) -> dict[str, Any]:
    """What lies behind each letter: a file, or the samples of the anchor."""
    from compare.listening import ANCHOR, REFERENCE, anchor

    reference = clips[trial.reference]
    found: dict[str, Any] = {"reference": reference}
    for row, name in enumerate(trial.behind):
        letter = chr(ord("A") + row)
        if name == ANCHOR:
            samples, rate = _read(reference)
            found[letter] = (anchor(samples, rate), rate)
        else:
            found[letter] = reference if name == REFERENCE else clips[name]
    return found


def _mark(text: str) -> str | None:
    """A mark as typed, or None where it is none."""
    try:
        return text if 0.0 <= float(text) <= 100.0 else None
    except ValueError:
        return None


def _say_files(sitting: Sitting, files: dict[str, Path]) -> None:
    """Say what can be played and how."""
    say("Files: " + ", ".join(str(path) for path in files.values()))
    if sitting.player:
        say("Type 'play NAME' to hear one of: " + ", ".join(files))


def _asked(sitting: Sitting, files: dict[str, Path], prompt: str, accept: Any) -> str | None:
    """Ask until there is an answer; a file's name plays it. None where the listener stops."""
    while True:
        sys.stdout.write(f"{prompt}: ")
        sys.stdout.flush()
        line = sys.stdin.readline()
        text = line.strip()
        if not line or text.lower() == _STOP:
            return None
        if text.startswith("play ") and sitting.player:
            _play(sitting.player, files, text.removeprefix("play ").strip())
        elif (answer := accept(text)) is not None:
            return str(answer)
        else:
            say("That is none of the answers.")


def _play(player: str, files: dict[str, Path], name: str) -> None:
    """Play a file with the user's command."""
    if name not in files:
        say(f"There is no '{name}': {', '.join(files)}.")
        return
    try:
        subprocess.run([*shlex.split(player), str(files[name])], check=False)
    except OSError as error:
        raise InputError(f"the player cannot be run ({error}).", hint="Name another with --player.") from error


def _lay_out(sources: Mapping[str, Any], made: Path) -> dict[str, Path]:
    """Write the clips as files of one kind and size, named only by their place in the trial."""
    from render import write_audio

    files = {}
    for name, source in sources.items():
        samples, rate = source if isinstance(source, tuple) else _read(source)
        files[name] = made / f"{name}.wav"
        write_audio(files[name], samples, sample_rate=rate)
    return files


def _read(path: Path) -> tuple[Any, int]:
    """Samples, float32, shape (n, 2), and sample rate of a clip."""
    import soundfile

    samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
    return samples, int(rate)


def _say_judgement(sessions: Sequence[Any]) -> None:
    """Print what the sessions show."""
    from compare.listening import judge_matching, judge_ratings

    answers = [answer for session in sessions for answer in session.answers]
    ratings = [rating for session in sessions for rating in session.ratings]
    say()
    if answers:
        planned = max(session.planned for session in sessions if session.kind == "matching")
        for sentence in judge_matching(answers, planned=planned).sentences:
            say(sentence)
    if ratings:
        for sentence in judge_ratings(ratings).sentences:
            say(sentence)
    if not answers and not ratings:
        say("No answer was given, so there is nothing to judge.")
