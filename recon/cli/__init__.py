"""The command line: one file a command. What has to hold before any library is loaded is settled here."""

import gc
import os
import sys

# A command is over soon: looking for garbage after every few hundred objects would take a seventh of its time.
gc.set_threshold(50_000)
# No plug-in has a say in how settings are read, and looking for some opens the records of every installed package.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "1")
# Typer reads this when it is imported: drawn boxes only where a person looks at them.
if not sys.stderr.isatty() or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
    os.environ.setdefault("TYPER_USE_RICH", "0")
