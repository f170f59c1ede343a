"""The entry point: registers the commands and turns every way of stopping into its exit code.

Command modules import the stages inside their functions, so that `recon --help` loads neither polars nor pandera. Where
the command line names a command, that one alone is loaded.
"""

import os
import sys
import tempfile
import traceback
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from recon import __version__
from recon.cli import exits
from recon.model.errors import LedgerDamaged, ReconError, SettingsError

if TYPE_CHECKING:
    app: typer.Typer

_HELP = "Was everything that left the machines paid for? Reconciles stock, cash and card money of a vending route."
_COMMANDS = ("demo", "draft", "check", "run", "learn", "plan", "money", "trace", "decide", "pack", "verify")
"""In the order of the help. Each is a module of recon.cli with a function of its name, or an `app` of several."""


def _show_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"recon {__version__} (polars {version('polars')}, tzdata {version('tzdata')})")
        raise typer.Exit


def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version and stop.")
    ] = False,
) -> None:
    """Options that stand before the command."""


def _app_of(*names: str) -> typer.Typer:
    """The command line with these commands."""
    made = typer.Typer(
        name="recon",
        help=_HELP,
        no_args_is_help=True,
        context_settings={"help_option_names": ["-h", "--help"]},
        pretty_exceptions_enable=False,
    )
    made.callback()(_options)
    for name in names:
        module = import_module(f"recon.cli.{name}")
        if hasattr(module, "app"):
            made.add_typer(module.app, name=name)
        else:
            made.command(name)(getattr(module, name))
    return made


def __getattr__(name: str) -> Any:
    """`app`, the command line with all of its commands, is made when it is asked for."""
    if name != "app":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    made = globals()["app"] = _app_of(*_COMMANDS)
    return made


def _asked(words: list[str]) -> typer.Typer:
    """What a command line needs: the one command that it begins with, or all of them for help and misspelled ones."""
    return _app_of(words[0]) if words and words[0] in _COMMANDS else __getattr__("app")


def _report_fault() -> str:
    with tempfile.NamedTemporaryFile(
        "w", prefix="recon-fault-", suffix=".txt", delete=False, encoding="utf-8"
    ) as report:
        report.write(f"recon {__version__}, python {sys.version}\n\n{traceback.format_exc()}")
    return report.name


def _interrupted() -> NoReturn:
    typer.echo("recon: interrupted", err=True)
    sys.exit(exits.INTERRUPTED)


def _reader_left() -> NoReturn:
    """The reader of a pipe left (recon run | head): nothing is wrong, and nothing more is to be flushed."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.__stdout__.fileno() if sys.__stdout__ else 1)
    sys.exit(exits.OK)


def main() -> None:
    """Run the command line and leave with its exit code."""
    try:
        _asked(sys.argv[1:])()
    except SettingsError as error:
        from recon.findings.catalogue import sentence

        for problem in error.problems:
            typer.echo(sentence(problem), err=True)
        typer.echo("Nothing was run: mend the above, then check with: recon check", err=True)
        sys.exit(exits.UNUSABLE)
    except LedgerDamaged as error:
        typer.echo(f"recon: {error}", err=True)
        sys.exit(exits.LEDGER)
    except ReconError as error:
        typer.echo(f"recon: {error}", err=True)
        sys.exit(exits.UNUSABLE)
    except KeyboardInterrupt:
        _interrupted()
    except BrokenPipeError:
        _reader_left()
    except SystemExit as stop:
        # Typer turns these two into bare exit codes of its own: 1 would say that something was found.
        if isinstance(stop.__context__, BrokenPipeError):
            _reader_left()
        if stop.code == exits.INTERRUPTED:
            _interrupted()
        raise
    except Exception:  # noqa: BLE001 - the last fence: whatever got here is a fault of ours, told in one sentence
        where = Path(_report_fault())
        typer.echo(
            f"recon: a fault of recon's own stopped the command; your files are untouched. Please send {where}",
            err=True,
        )
        sys.exit(exits.FAULT)
