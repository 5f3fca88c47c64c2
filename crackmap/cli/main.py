"""The `crackmap` command. Commands are loaded when called, so that --version is instant."""

from __future__ import annotations

import contextlib
import errno
import importlib
import os
import sys
from collections.abc import Sequence

import click

from crackmap import __version__
from crackmap.errors import CrackmapError

# Command -> (module, one line for the list). The order is the order of work.
COMMANDS = {
    "marker": ("crackmap.cli.marker", "Print scale markers to lay on the slab."),
    "run": ("crackmap.cli.run", "From a photo to keys, drawings and the bench sheet."),
    "batch": ("crackmap.cli.batch", "The same for a folder of photos, several at a time."),
    "measure": ("crackmap.cli.measure", "Measure a job's photo again, then place and draw."),
    "place": ("crackmap.cli.place", "Place the keys of a job again, then draw."),
    "draw": ("crackmap.cli.draw", "Draw a job's pictures, DXF and sheets again."),
    "review": ("crackmap.cli.review", "See a job on its photo in the browser; move what you don't like."),
    "align": ("crackmap.cli.align", "Move a job's drawing to the machine by two jogged marks."),
    "ease": ("crackmap.cli.ease", "Draw one pocket again, wider, for a key that sits too tight."),
    "testcut": ("crackmap.cli.testcut", "Draw a test cut to find the fit of key and pocket."),
    "lens": ("crackmap.cli.lens", "Print a lens sheet; measure a camera's lens from photos of it."),
    "demo": ("crackmap.cli.demo", "Make a slab photo and run the whole job on it."),
}


_UNHEARD = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EPIPE}  # of standard output


class LazyGroup(click.Group):
    """A group that imports a command's module only when the command is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command = importlib.import_module(COMMANDS[cmd_name][0]).command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands, in the order of work"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="crackmap")
def cli() -> None:
    """From a photo of a cracked slab to bow-tie keys, pockets, resin and a bench sheet.

    Start with: crackmap demo --out demo-job
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; every expected mistake ends in one sentence and exit status 2."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # names whose bytes are no text are shown all the same
            stream.reconfigure(errors="backslashreplace")
    try:
        cli.main(args=None if arguments is None else list(arguments), prog_name="crackmap", standalone_mode=False)
    except Exception as problem:
        if os.environ.get("CRACKMAP_DEBUG") and not isinstance(problem, (CrackmapError, click.ClickException)):
            raise
        _fail(*ending(problem))
    except KeyboardInterrupt as stop:
        _fail(*ending(stop))


def ending(problem: BaseException) -> tuple[str, int]:
    """The sentence and the exit status that a command ends with."""
    match problem:
        case CrackmapError():
            return str(problem), 2
        case click.UsageError():
            where = problem.ctx.command_path if problem.ctx else "crackmap"
            return f"{problem.format_message().rstrip('.')}. See: {where} --help", 2
        case click.ClickException():
            return problem.format_message(), 2
        case click.Abort() | KeyboardInterrupt():
            return "stopped; nothing was changed.", 130
        case MemoryError():
            return "out of memory; close other programs or give a smaller photo.", 2
        case OSError(filename=None, errno=code) if code in _UNHEARD:
            return "its words could not be written out, as to a full disk; the job's files are whole all the same.", 2
    # a bug of ours must still end in one sentence
    return (f"an error inside crackmap itself ({type(problem).__name__}: {problem}); no file was left half-written. "
            "Please report it with the photo; CRACKMAP_DEBUG=1 shows the details."), 70


def _fail(sentence: str, status: int) -> None:
    with contextlib.suppress(OSError):
        click.echo(f"crackmap: {sentence}", err=True)
    for stream in (sys.stdout, sys.stderr):  # what cannot be written out now would be tried again at the very end
        try:
            stream.flush()
        except OSError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
    sys.exit(status)


if __name__ == "__main__":
    main()
