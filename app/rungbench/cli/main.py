"""The command ``rungbench``: finds its commands, and maps every end to an exit status.

Each command lives in a module of this package that bears its name and holds a
click command of the same name.  It is imported only when it is called, so that
starting stays fast; a command whose module is not there is not listed.  A
command ends by returning an `ExitStatus` (or nothing: done), or by raising an
error of the program's trees.
"""

import codecs
import importlib
import importlib.util
import io
import logging
import os
import signal
import sys
from collections.abc import Sequence
from typing import Any, Final, NoReturn

import click

from pilotsignal.errors import (
    CalibrationError,
    PilotSignalError,
    ProfileError,
    QuantityError,
    UnstatedError,
)
from rungbench import __version__
from rungbench.errors import ExitStatus, RungbenchError
from rungbench.log import start_log
from rungbench.paths import paths, under_home

_NAME: Final = "rungbench"
logger = logging.getLogger(_NAME)

# In the order of the help page: what one does with a charger, then with files, then the rest.
COMMANDS: Final = {
    "qualify": "Take a charger through a plan and record the verdict.",
    "watch": "Show live readings of the pilot.",
    "measure": "Measure a recorded pilot from a CSV file.",
    "decode": "Tell what a duty, a voltage or a cable resistor means.",
    "resistors": "Work out ladders and source resistors.",
    "records": "List and show finished runs.",
    "lot": "Judge a lot by a sampling plan.",
    "bench": "Show ports, places and what a bench can do.",
    "desktop": "Open the windows.",
}

# Longer sentences quote something that nobody reads to its end.
_LONGEST: Final = 1200
_SPELLED_OUT: Final = "rungbench.spelled_out"
_SIGNS: Final = {"±": "+/-", "√": "sqrt ", "µ": "u", "Ω": "ohm", "–": "-", "…": "..."}

# Errors that the user's own words caused, though the core raises them.
_WRONG_USE: Final = (QuantityError, ProfileError, CalibrationError, UnstatedError)


class _Program(click.Group):
    """A group that knows its commands by name and imports one when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        del ctx
        return [name for name in COMMANDS if importlib.util.find_spec(_module(name))]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.list_commands(ctx):
            return None
        command = getattr(importlib.import_module(_module(cmd_name)), cmd_name)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, COMMANDS[name]) for name in self.list_commands(ctx)])


def _module(name: str) -> str:
    return f"{__package__}.{name}"


@click.group(
    cls=_Program,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Exit status: 0 pass or done; 1 a recorded fail; 2 wrong use; 3 undecided, incomplete "
    "or interrupted; 4 bench fault, missing or unreadable input, internal error.",
)
@click.version_option(__version__, prog_name=_NAME)
def program() -> None:
    """Qualify AC chargers at the control-pilot contact."""
    start_log()


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command line and end the process with its status."""
    status = run(sys.argv[1:] if arguments is None else arguments)
    # All is done and stored: a Ctrl-C that comes late must not change what is told.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _let_go_of_output()
    sys.exit(int(status))


def run(arguments: Sequence[str]) -> ExitStatus:
    """Run one command; every error has become one sentence on stderr and a status."""
    _open_what_is_closed()
    _spell_out_signs()
    try:
        status = _invoke(list(arguments))
        sys.stdout.flush()
    except BrokenPipeError:
        status = ExitStatus.UNDECIDED  # the reader has enough
    except (KeyboardInterrupt, click.Abort):
        status = _say("Interrupted.", ExitStatus.UNDECIDED)
    except click.exceptions.NoArgsIsHelpError as page:
        page.show()
        status = ExitStatus.WRONG_USE
    except click.ClickException as problem:
        status = _say(_usage_sentence(problem), ExitStatus.WRONG_USE)
    except RungbenchError as problem:
        status = _say(str(problem), problem.exit_status)
    except PilotSignalError as problem:
        wrong_use = isinstance(problem, _WRONG_USE)
        status = _say(str(problem), ExitStatus.WRONG_USE if wrong_use else ExitStatus.BENCH_FAULT)
    except OSError as problem:
        status = _say(_system_sentence(problem), ExitStatus.BENCH_FAULT)
    except ImportError as problem:
        # No log: it may not have been started yet, and a page may not be loadable either.
        told = " ".join(str(problem).split())
        click.echo(
            f"A package that this needs cannot be loaded ({told}); install the program anew as "
            "its README says.",
            err=True,
        )
        status = ExitStatus.BENCH_FAULT
    except Exception:
        logger.exception("unexpected")
        status = _say(
            "This is a fault of the program; please report it with the end of the log "
            f"{under_home(paths().log_file)}.",
            ExitStatus.BENCH_FAULT,
        )
    return status


def _let_go_of_output() -> None:
    """What is still buffered and cannot be written must not change the status at exit."""
    try:
        sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _open_what_is_closed() -> None:
    """Whoever started us without output wants none; the work is done all the same."""
    if sys.stdout is None:
        sys.stdout = os.fdopen(os.open(os.devnull, os.O_WRONLY), "w")
    if sys.stderr is None:
        sys.stderr = os.fdopen(os.open(os.devnull, os.O_WRONLY), "w")


def _spell_out_signs() -> None:
    """Let signs that a terminal's encoding lacks be spelled out instead of stopping the command."""
    codecs.register_error(_SPELLED_OUT, _spelled_out)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=_SPELLED_OUT)


def _spelled_out(problem: UnicodeError) -> tuple[str, int]:
    assert isinstance(problem, UnicodeEncodeError)
    signs = problem.object[problem.start : problem.end]
    return "".join(_SIGNS.get(sign, "?") for sign in signs), problem.end


def _invoke(arguments: list[str]) -> ExitStatus:
    for argument in arguments:
        _refuse_what_is_no_text(argument)
    try:
        with program.make_context(_NAME, arguments) as context:
            outcome: Any = program.invoke(context)
    except click.exceptions.Exit as end:
        return ExitStatus(end.exit_code)
    return outcome if isinstance(outcome, ExitStatus) else ExitStatus.DONE


def _refuse_what_is_no_text(argument: str) -> None:
    """Bytes that the locale cannot read may name a file, and nothing else: no record holds them."""
    try:
        argument.encode()
    except UnicodeEncodeError as problem:
        if not os.path.exists(argument):
            raise click.UsageError(
                f"{argument!a} is no text in this locale; type it anew, or set the locale to UTF-8"
            ) from problem


def _say(text: str, status: ExitStatus) -> ExitStatus:
    # Late: only an error needs what pages are made of.
    from rungbench.cli.terminal import printable

    sentence = printable(" ".join(text.split()))
    if len(sentence) > _LONGEST:
        half = _LONGEST // 2
        sentence = f"{sentence[:half]} [...] {sentence[-half:]}"
    click.echo(sentence, err=True)
    return status


def _usage_sentence(problem: click.ClickException) -> str:
    text = problem.format_message().rstrip(".")
    context = problem.ctx if isinstance(problem, click.UsageError) else None
    return f"{text}; see '{context.command_path if context else _NAME} --help'."


def _system_sentence(problem: OSError) -> str:
    reason = problem.strerror or str(problem)
    if problem.filename is None:
        return f"The system refused ({reason}); free what it lacks and try again."
    return f"{problem.filename} cannot be used ({reason}); check the path and your rights."
