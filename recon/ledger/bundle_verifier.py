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
TO_PROVE = ("entries/", "inbox/", "settings/", "attachments/", "results")
ARCHIVE = (struct.error, zlib.error, zipfile.BadZipFile, EOFError, OSError)
UNREADABLE = (ValueError, LookupError, TypeError, AttributeError, ArithmeticError, RuntimeError, *ARCHIVE)


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
        if not (found := re.fullmatch(r"([0-9a-f]{64})  ([^\r\n]+)", line)) or found[2] in listed:
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


def lines_root(data: bytes, proof: dict[str, Any], tree: dict[str, Any]) -> str:
    """The root over leaves of `leaf` lines; the last leaf, and the last node at its level, may hold fewer."""
    lines, salts = data.splitlines(keepends=True), dict(proof["shown"])
    leaf, width = tree.get("leaf", 1), {1: 2, 2: 16}[tree.get("tree", 1)]
    text = {at: b"".join(lines[at - 1 : at - 1 + leaf]) for at in range(1, len(lines) + 1, leaf)}
    bare = [at for at in text if at not in salts and text[at].strip(b"\r\n")]
    if not len(lines) == proof["count"] == tree["count"] or bare:
        raise Failed(f"it has {len(lines)} lines, expected {tree['count']}; lines without a proof: {bare}")
    # Salts and hashes are made to have their length, so that no byte of one can be passed off as one of its neighbour.
    leaves = {at: sha256(b"\x00", int(salts[at], 16).to_bytes(16, "big"), text[at]) for at in salts}
    hidden = [int(part, 16).to_bytes(32, "big") for part in reversed(proof["hidden"])]

    def top(part: range, inside: list[int]) -> bytes:
        if not inside or len(part) == 1:
            return leaves[part[0]] if inside else hidden.pop()
        size = max(width**power for power in range(64) if width**power < len(part))
        below = [part[at : at + size] for at in range(0, len(part), size)]
        return sha256(b"\x01", *(top(some, [at for at in inside if at in some]) for some in below))

    found = top(range(1, len(lines) + 1, leaf), sorted(leaves)) if lines else sha256()
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
            if lines_root(data, json.loads(files[told["proof"]]), tree := body[told["key"]]) != tree["root"]:
                raise Failed(f"{name}: its lines are not those that entry {told['entry']} is about")
            if name.startswith("settings/lists/"):
                rows = map(json.loads, filter(None, data.splitlines()))
                lists[name, told["entry"]] = {re.sub(UNSAFE, "_", row["file"]): row for row in rows}
    proved = {told["file"] for told in index["files"] + index["entries"]}
    for name in sorted(name for name in files.keys() - proved if name.startswith(TO_PROVE)):
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
    options = dict.fromkeys(("--root", "--entries"), "")
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
