"""The command line: one command per question a user has. Thin: arguments in, use case called, result shown.

Heavy libraries are imported by the use cases, never here, so that ``klangprobe --help`` answers at once.
"""

from __future__ import annotations

import errno
import os
import signal
import sys
import warnings
from contextlib import suppress
from pathlib import Path
from typing import Annotated, Optional

import typer

from base.errors import KlangprobeError

__all__ = ["app", "main"]

app = typer.Typer(
    name="klangprobe",
    help="Hear the options before writing them down: from a piano score and a short spec to variants side by side.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

ScoreFile = Annotated[Path, typer.Argument(metavar="SCORE", help="MusicXML, .mxl, MIDI, kern, ABC or MEI.")]
SpecFile = Annotated[Path, typer.Argument(metavar="SPEC", help="The spec (YAML).")]
Json = Annotated[bool, typer.Option("--json", help="Print JSON instead of words.")]
OutFolder = Annotated[Optional[Path], typer.Option("--out", metavar="DIR", help="Folder to write to.")]  # noqa: UP045
Names = Annotated[Optional[list[str]], typer.Option("--variants", metavar="NAME", help="Only these variants.")]  # noqa: UP045
FontFile = Annotated[Optional[Path], typer.Option("--soundfont", metavar="FILE", help="SF2 or SF3 to play with.")]  # noqa: UP045


def _say_version(wanted: bool) -> None:
    """Print the version and leave."""
    if wanted:
        from klangprobe import __version__

        typer.echo(f"klangprobe {__version__}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool, typer.Option("--version", callback=_say_version, is_eager=True, help="Print the version and leave.")
    ] = False,
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of an error.")] = False,
) -> None:
    """Options of the program as a whole."""


@app.command()
def survey(
    score: Annotated[Optional[Path], typer.Argument(metavar="SCORE", help="The piano score.")] = None,  # noqa: UP045
    json: Json = False,
    html: Annotated[Optional[Path], typer.Option("--html", metavar="FILE", help="Page with the engraved bars.")] = None,  # noqa: UP045
    worksheet: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option("--worksheet", metavar="FILE", help="Printable page with blank answers."),
    ] = None,
    spec: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option("--spec", metavar="SPEC", help="Show what this spec leaves open."),
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="Every finding, not only the first ranks.")] = False,
    questions: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option("--questions", min=1, metavar="N", help="How many the worksheet asks (at most 20 if left out)."),
    ] = None,
) -> None:
    """Say what must be rethought for orchestra, bar by bar."""
    from klangprobe import surveying

    surveying.run(
        score, spec=spec, as_json=json, html=html, worksheet=worksheet, every=every, questions=questions
    )  # fmt: skip


@app.command()
def start(
    score: ScoreFile,
    out: Annotated[Optional[Path], typer.Option("--out", metavar="SPEC.yaml", help="The spec to write.")] = None,  # noqa: UP045
    orchestra: Annotated[str, typer.Option("--orchestra", metavar="NAME", help="Ensemble.")] = "classical full",
) -> None:
    """Write a first spec that runs, from what the score shows."""
    from klangprobe import starting

    starting.run(score, out=out, orchestra=orchestra)


@app.command()
def check(
    spec: SpecFile,
    variants: Names = None,
    json: Json = False,
    every: Annotated[bool, typer.Option("--all", help="Every remark, not gathered by kind and player.")] = False,
) -> None:
    """Check the spec, the parts and what was kept of the piano piece. No sound. Exit code 1 where a part fails."""
    from klangprobe import checking

    raise typer.Exit(checking.run(spec, variants=variants, as_json=json, every=every))


@app.command()
def hear(
    spec: SpecFile,
    passages: Annotated[Optional[list[str]], typer.Argument(metavar="PASSAGE", help="Only these.")] = None,  # noqa: UP045
    variants: Names = None,
    out: OutFolder = None,
    soundfont: FontFile = None,
    synth: Annotated[str, typer.Option(metavar="NAME", help="fluidsynth or partials.")] = "fluidsynth",
    balance: Annotated[str, typer.Option(metavar="NAME", help="Which table sets the players' levels.")] = "sound power",
    stage: Annotated[str, typer.Option(metavar="NAME", help="Seat plan.")] = "violins together",
    dry: Annotated[bool, typer.Option("--dry", help="Without the room.")] = False,
    exact: Annotated[bool, typer.Option("--exact", help="Without human spread of timing and level.")] = False,
    stems: Annotated[bool, typer.Option("--stems", help="Write every player's sound as a file too.")] = False,
    pack: Annotated[bool, typer.Option("--pack", help="Also one zip for a lesson.")] = False,
    single: Annotated[bool, typer.Option("--single-file", help="Also the page as one file.")] = False,
    watch: Annotated[bool, typer.Option("--watch", help="Render again whenever the spec is saved.")] = False,
    json: Json = False,
) -> None:
    """Render the passages in every variant and write the listening page."""
    from klangprobe import hearing

    wish = hearing.Wish(
        spec=spec, passages=tuple(passages or ()), variants=tuple(variants or ()), out=out, soundfont=soundfont,
        synth=synth, balance=balance, stage=stage, room=not dry, spread=not exact, stems=stems, pack=pack,
        single_file=single,
    )  # fmt: skip
    hearing.run(wish, watch=watch, as_json=json)


@app.command()
def write(
    spec: SpecFile,
    variant: Annotated[str, typer.Argument(metavar="VARIANT", help="Name of the variant.")],
    out: OutFolder = None,
) -> None:
    """Write one variant's full score and parts (MusicXML) and multitrack MIDI."""
    from klangprobe import writing

    writing.run(spec, variant, out=out)


@app.command()
def blind(
    folder: Annotated[Optional[Path], typer.Argument(metavar="DIR", help="A folder written by 'hear'.")] = None,  # noqa: UP045
    passages: Annotated[Optional[list[str]], typer.Argument(metavar="PASSAGE", help="Only these.")] = None,  # noqa: UP045
    variants: Names = None,
    trials: Annotated[int, typer.Option(min=1, max=200, help="How many matching trials.")] = 16,
    rate: Annotated[str, typer.Option("--rate", metavar="QUESTION", help="Ask for marks instead.")] = "",
    listener: Annotated[str, typer.Option(metavar="NAME", help="Who listens.")] = "listener",
    player: Annotated[str, typer.Option(metavar="COMMAND", help="Plays a file; otherwise play them by hand.")] = "",
    results: Annotated[Optional[Path], typer.Option("--results", metavar="FILE", help="JSON to write.")] = None,  # noqa: UP045
    judge: Annotated[
        Optional[list[Path]],  # noqa: UP045
        typer.Option("--judge", metavar="FILE", help="Judge saved sessions together instead of listening."),
    ] = None,
    csv: Annotated[Optional[Path], typer.Option("--csv", metavar="FILE", help="With --judge: a table.")] = None,  # noqa: UP045
) -> None:
    """Listen blind, and see what the answers can and cannot show."""
    from klangprobe import blindfold

    if judge:
        blindfold.judge(judge, csv=csv)
        return
    if folder is None:
        raise typer.BadParameter("name a folder written by 'hear', or sessions with --judge")
    blindfold.run(
        blindfold.Sitting(folder, tuple(passages or ()), tuple(variants or ()), trials, rate, listener, player, results)
    )


@app.command()
def sounds(
    action: Annotated[str, typer.Argument(metavar="[list|calibrate|cache|balance]")] = "list",
    file: Annotated[Optional[Path], typer.Argument(metavar="FILE", help="Soundfont to calibrate.")] = None,  # noqa: UP045
    clear: Annotated[bool, typer.Option("--clear", help="With cache: empty it.")] = False,
    json: Json = False,
) -> None:
    """Show the soundfonts found, measure another, look after the cache."""
    from klangprobe import sounding

    sounding.run(action, file=file, clear=clear, as_json=json)


_INTERRUPTED = 130
_NO_ROOM = (errno.ENOSPC, errno.EIO, errno.EROFS)
"""What a full or broken disk says; no fault of the program."""


def _prepare() -> None:
    """Let a run that is told to end clean up as one that is interrupted; let one without a terminal speak to nobody."""
    for name in ("SIGTERM", "SIGHUP"):
        if (number := getattr(signal, name, None)) and signal.getsignal(number) == signal.SIG_DFL:
            signal.signal(number, lambda *_: sys.exit(143))
    # Work is shared among our own threads and processes; those of the linear algebra would only spin beside them.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    warnings.formatwarning = _plainly
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 - never closed


def _plainly(message: Warning | str, category: type[Warning], *_: object, **__: object) -> str:
    """Return a warning as one line for a musician; of one kind only the first, as the others say no more."""
    known = str(message)[:_SAME] if category.__name__ == "StoreWarning" else str(message)
    if known in _told:
        return ""
    _told.add(known)
    return f"klangprobe: {message}\n"


_SAME = 11  # as many letters tell the kinds of a store's warning apart
_told: set[str] = set()
"""Beginnings of the warnings told."""


def main() -> None:
    """Run the program; turn every error meant for the user into one message and an exit code."""
    sys.argv[1:] = _spread(sys.argv[1:])
    _prepare()
    try:
        try:
            app()
        finally:
            sys.stdout.flush()  # output that finds no room says so here, and not while Python ends
    except KlangprobeError as error:
        if "--debug" in sys.argv:
            raise
        typer.echo(f"klangprobe: {error}", err=True)
        sys.exit(error.exit_code)
    except SystemExit as left:
        if left.code == _INTERRUPTED:  # typer has turned the interrupt into its exit code, without a word
            typer.echo("klangprobe: interrupted; what was rendered is kept in the cache.", err=True)
        raise
    except BrokenPipeError:
        _write_no_more()
        sys.exit(0)
    except Exception as error:  # whatever is left is our fault, and still gets one message
        if "--debug" in sys.argv:
            raise
        if isinstance(error, OSError) and error.errno in _NO_ROOM:
            _write_no_more()
            where = error.filename or "the output"
            typer.echo(f"klangprobe: {where}: could not be written ({error.strerror}).", err=True)
            sys.exit(2)
        typer.echo(f"klangprobe: a fault of the program itself ({type(error).__name__}: {error}).", err=True)
        typer.echo("Please report it with the output of: klangprobe --debug " + " ".join(sys.argv[1:]), err=True)
        sys.exit(70)


def _write_no_more() -> None:
    """Send what standard output still holds nowhere, or Python fails on it once more as it ends."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _spread(arguments: list[str]) -> list[str]:
    """Let ``--variants A B`` and ``--judge A B`` take several values: each gets its option again."""
    spread: list[str] = []
    option = ""
    for word in arguments:
        if word.startswith("--"):
            option = word if word in ("--variants", "--judge") else ""
            spread += [] if option else [word]
        else:
            if option == "--variants" and word.endswith((".yaml", ".yml")):
                option = ""  # the spec, said after its variants
            spread += [option, word] if option else [word]
    return spread
