"""Verify a bundle, Python (3.9 or later) alone: python3 verify.py [BUNDLE.zip | FOLDER] [--root ROOT [--entries N]]

By default the folder of this program. ROOT and N: what an earlier report printed, to prove that the bundle agrees with
it. The exit code is 0 where all holds, 3 where not, 2 where there is no bundle. It checks that
 1. every file has the SHA-256 that SHA256SUMS lists (the list itself is no proof: anyone can make one);
 2. each entry leads to the root of the ledger's Merkle tree (RFC 9162, section 2.1.3) and to the entry before it;
 3. the roots that earlier reports printed are of the same ledger (RFC 9162, section 2.1.4);
 4. a file has the hash that its entry, or a list that its entry has a tree of, says; of a file shown in part, the shown
    lines and the hashes of the others give the root over all of its lines that its entry says.
"""

from __future__ import annotations

import hashlib
import json
import re
import struct
import sys
import zipfile
import zlib
from pathlib import Path
from typing import Any

SUMS, INDEX, UNSAFE = "SHA256SUMS", "bundle.json", r'[\x00-\x1f\x7f\\:*?"<>|]'
ARCHIVE = (struct.error, zlib.error, zipfile.BadZipFile)
TO_PROVE = ("entries/", "inbox/", "settings/", "attachments/", "results")
UNREADABLE = (ValueError, LookupError, TypeError, AttributeError, OSError, EOFError, RuntimeError, *ARCHIVE)


class Failed(Exception):
    """What does not hold; the text names it."""


class Files(dict[str, bytes]):
    def __missing__(self, name: str) -> bytes:
        raise Failed(f"{name} is missing")


def sha256(*parts: bytes) -> bytes:
    return hashlib.sha256(b"".join(parts)).digest()


def load(place: Path) -> Files:
    if place.is_dir():
        return Files((one.relative_to(place).as_posix(), one.read_bytes()) for one in place.rglob("*") if one.is_file())
    with zipfile.ZipFile(place) as archive:
        if len(set(names := archive.namelist())) != len(names):
            raise Failed("the zip holds two files of one name")
        return Files((name, archive.read(name)) for name in names)


def check_sums(files: Files) -> list[str]:
    """Hold all files against the list; returns those that it does not name."""
    listed: dict[str, str] = {}
    for number, line in enumerate(files[SUMS].decode().split("\n")[:-1], start=1):
        found = re.fullmatch(r"([0-9a-f]{64})  ([^\r\n]+)", line)
        if found is None or found[2] in listed:
            raise Failed(f"{SUMS}:{number} is no line of such a list")
        listed[found[2]] = found[1]
    for name, expected in {"verify.py": "nothing", INDEX: "nothing", **listed}.items():
        if sha256(files[name]).hex() != expected:
            raise Failed(f"{name} was altered: its SHA-256 is {sha256(files[name]).hex()}, {SUMS} says {expected}")
    return sorted(set(files) - set(listed) - {SUMS})


def climb(at: int, last: int, start: bytes, path: list[bytes]) -> tuple[bytes, bytes, bool]:
    """Go up from a node: the root of the part to its left with it, the root of all, whether the path fits."""
    old = new = start
    for beside in path:
        if last <= 0:
            return old, new, False
        if at % 2 or at == last:
            old, new = sha256(b"\x01", beside, old), sha256(b"\x01", beside, new)
            while at % 2 == 0 and at:
                at, last = at >> 1, last >> 1
        else:
            new = sha256(b"\x01", new, beside)
        at, last = at >> 1, last >> 1
    return old, new, last == 0


def consistent(earlier: int, earlier_top: bytes, size: int, top: bytes, path: list[bytes]) -> bool:
    if not 1 <= earlier < size:
        return earlier == size and not path and earlier_top == top
    steps = [earlier_top, *path] if earlier & (earlier - 1) == 0 else path
    at, last = earlier - 1, size - 1
    while at % 2:
        at, last = at >> 1, last >> 1
    return climb(at, last, steps[0], steps[1:]) == (earlier_top, top, True)


def check_entries(files: Files, index: dict[str, Any]) -> dict[int, dict[str, Any]]:
    entries, hashes, top = {}, {}, bytes.fromhex(index["root"])
    for told in index["entries"]:
        entry = json.loads(data := files[told["file"]])
        number, path = entry["number"], [bytes.fromhex(step) for step in told["path"]]
        leaf = sha256(b"\x00", data)
        if not 1 <= number <= index["size"] or climb(number - 1, index["size"] - 1, leaf, path)[1:] != (top, True):
            raise Failed(f"{told['file']} is not in the ledger: its path does not lead to the root")
        entries[number], hashes[number] = entry, sha256(data).hex()
    for number, entry in entries.items():
        if entry["previous"] != hashes.get(number - 1, entry["previous"]):
            raise Failed(f"entry {number} does not carry the hash of entry {number - 1}")
    return entries


def check_roots(index: dict[str, Any], printed: str, size: int | None) -> None:
    known, top = {(index["size"], index["root"])}, bytes.fromhex(index["root"])
    for told in index["earlier"]:
        path = [bytes.fromhex(step) for step in told["path"]]
        if not consistent(told["entries"], bytes.fromhex(told["root"]), index["size"], top, path):
            raise Failed(f"the root {told['root']} over {told['entries']} entries is not of this ledger")
        known |= {(told["entries"], told["root"])}
    if printed and not any(root == printed and size in (None, count) for count, root in known):
        raise Failed(f"the printed root {printed} is none that this bundle can prove to be of its ledger")


def values(body: Any, key: str) -> list[Any]:
    if isinstance(body, dict):
        return [item for name, value in body.items() for item in ([value] if name == key else values(value, key))]
    return [item for value in body for item in values(value, key)] if isinstance(body, list) else []


def lines_root(data: bytes, proof: dict[str, Any]) -> str:
    lines, shown = data.splitlines(keepends=True), dict(proof["shown"])
    bare = [at for at, line in enumerate(lines, start=1) if at not in shown and line.strip(b"\r\n")]
    if len(lines) != proof["count"] or bare:
        raise Failed(f"it has {len(lines)} lines, expected {proof['count']}; lines without a proof: {bare}")
    leaves = {at: sha256(b"\x00", bytes.fromhex(shown[at]), lines[at - 1]) for at in shown}
    hidden = [bytes.fromhex(part) for part in reversed(proof["hidden"])]

    def top(first: int, after: int, inside: list[int]) -> bytes:
        if not inside:
            return hidden.pop()
        if after - first == 1:
            return leaves[after]
        middle = first + (1 << (after - first - 1).bit_length() - 1)
        left = top(first, middle, [at for at in inside if at <= middle])
        return sha256(b"\x01", left, top(middle, after, [at for at in inside if at > middle]))

    found = top(0, len(lines), sorted(leaves)) if lines else sha256()
    return "hashes are left over" if hidden else found.hex()


def check_files(files: Files, index: dict[str, Any], entries: dict[int, dict[str, Any]]) -> None:
    lists: dict[tuple[str, int], dict[str, Any]] = {}
    for told in sorted(index["files"], key=lambda told: told["proof"] is None):
        name, data, body = told["file"], files[told["file"]], entries[told["entry"]]["body"]
        if "list" in told:
            body = lists[told["list"], told["entry"]].get(re.sub("^settings/(earlier/[0-9]+/)?", "", name))
        if told["proof"] is None and sha256(data).hex() not in values(body, told["key"]):
            raise Failed(f"{name} is not what entry {told['entry']} names")
        if told["proof"] is not None:
            proof, tree = json.loads(files[told["proof"]]), body[told["key"]]
            if proof["count"] != tree["count"] or lines_root(data, proof) != tree["root"]:
                raise Failed(f"{name}: its lines are not those that entry {told['entry']} is about")
            if name.startswith("settings/lists/"):
                rows = map(json.loads, filter(None, data.splitlines()))
                lists[name, told["entry"]] = {re.sub(UNSAFE, "_", row["file"]): row for row in rows}
    proved = {told["file"] for told in index["files"] + index["entries"]}
    for name in sorted(name for name in files if name.startswith(TO_PROVE) and name not in proved):
        raise Failed(f"{name} is proved by no entry")


def verify(place: Path, printed: str = "", size: int | None = None) -> tuple[dict[str, Any], int, list[str]]:
    """Check everything. Returns bundle.json, the number of files, and those of no list. Raises Failed."""
    try:
        files = load(place)
        beside, index = check_sums(files), json.loads(files[INDEX])
        entries = check_entries(files, index)
        check_roots(index, printed, size)
        check_files(files, index, entries)
    except UNREADABLE as error:
        raise Failed(f"the bundle cannot be read ({type(error).__name__}: {error})") from error
    return index, len(files), beside


def main(arguments: list[str]) -> int:
    options = {"--root": "", "--entries": ""}
    while arguments[-2:-1] and arguments[-2] in options:
        options[arguments[-2]], arguments = arguments[-1], arguments[:-2]
    place, size = Path(arguments[0] if arguments else Path(__file__).resolve().parent), options["--entries"]
    if len(arguments) > 1 or not place.exists() or (size and not size.isdigit()):
        sys.stderr.write("usage: python3 verify.py [BUNDLE.zip | FOLDER] [--root ROOT [--entries N]]\n")
        return 2
    try:
        index, _, beside = verify(place, options["--root"].lower(), int(size) if size else None)
    except Failed as failure:
        sys.stdout.write(f"FAILED: {failure}\n")
        return 3
    told = f"{len(index['entries'])} entries of {index['size']}, {len(index['files'])} proved files: all of it holds"
    sys.stdout.write(f"{told}\nroot {index['root']} over {index['size']} entries\n")
    sys.stdout.write("note: cover.html, trace.* and rows/ are worked out from these; no entry proves them\n")
    sys.stdout.writelines(f"note: {name} is not part of the bundle\n" for name in beside)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
