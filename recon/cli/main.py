"""The entry point: registers the commands and turns every way of stopping into its exit code.

Command modules import the stages inside their functions, so that `recon --help` loads neither polars nor pandera.
"""

import gc
import os
import sys
import tempfile
import traceback
from pathlib import Path
from typing import Annotated, NoReturn

# Typer reads this when it is imported: drawn boxes only where a person looks at them.
if not sys.stderr.isatty() or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
    os.environ.setdefault("TYPER_USE_RICH", "0")

import typer

from recon import __version__
from recon.cli import check, decide, demo, draft, exits, learn, money, pack, plan, trace, verify
from recon.cli import run as run_command
from recon.model.errors import LedgerDamaged, ReconError, SettingsError

app = typer.Typer(
    name="recon",
    help="Was everything that left the machines paid for? Reconciles stock, cash and card money of a vending route.",
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    pretty_exceptions_enable=False,
)


def _show_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"recon {__version__} (polars {version('polars')}, tzdata {version('tzdata')})")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version and stop.")
    ] = False,
) -> None:
    """Options that stand before the command."""


app.command("demo")(demo.demo)
app.add_typer(draft.app, name="draft")
app.command("check")(check.check)
app.command("run")(run_command.run)
app.command("learn")(learn.learn)
app.command("plan")(plan.plan)
app.command("money")(money.money)
app.command("trace")(trace.trace)
app.command("decide")(decide.decide)
app.command("pack")(pack.pack)
app.command("verify")(verify.verify)


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
    # A command is over soon: looking for garbage after every few hundred objects would take a seventh of its time.
    gc.set_threshold(50_000)
    try:
        app()
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
