"""A route folder in a line or two, so that each test states only what matters to it."""

from pathlib import Path

import pytest
from route_texts import SETTINGS, Lay


@pytest.fixture
def lay(tmp_path: Path) -> Lay:
    """Write files (text or bytes) into a route folder, which has good settings unless others are given."""

    def write(files: dict[str, str | bytes] | None = None) -> Path:
        for name, content in {"route.toml": SETTINGS, **(files or {})}.items():
            path = tmp_path / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return tmp_path

    return write
