"""The smallest settings and the smallest layout that can be used, for tests to add to."""

from collections.abc import Callable
from pathlib import Path

SETTINGS = 'name = "Test route"\ncurrency = "CAD"\ntimezone = "America/Halifax"\n'
LAYOUT = 'machine = "m-1"\neffective = 2026-08-03T07:00:00\n'

Lay = Callable[..., Path]
