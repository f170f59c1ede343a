"""`recon verify`: was anything in the ledger, or in a bundle, altered, removed or put in another order?"""

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from recon.cli import exits

if TYPE_CHECKING:
    from recon.model.verify_results import VerifyResults


class Format(StrEnum):
    text = "text"
    json = "json"


def verify(
    path: Annotated[
        Path, typer.Argument(metavar="ROUTE|BUNDLE", help="The route folder, or a bundle.", show_default="this folder")
    ] = Path(),
    root: Annotated[
        str | None, typer.Option(help="A root that was printed earlier, 64 digits: prove that it was this ledger's.")
    ] = None,
    entries: Annotated[
        int | None, typer.Option(min=0, help="The number of entries that was printed with --root.")
    ] = None,
    form: Annotated[Format, typer.Option("--format", help="How to print what was found.")] = Format.text,
) -> None:
    """Verify that nothing kept in the ledger or in a bundle was altered, removed or put in another order.

    The first thing that fails is named. Take the root from a report that left your hands: without one, a ledger that
    somebody wrote anew as a whole fits together, too.

    Examples:

      recon verify my-route

      recon verify my-route --entries 57 --root 61ccb5e9...

      recon verify evidence-quay-2.zip

    Exit codes: 0 all of it holds; 3 something does not; 2 there is nothing to verify, or it cannot be read.
    """
    if entries is not None and root is None:
        raise typer.BadParameter("--entries says how many entries a root is over: give --root, too")
    printed = None if root is None else root.strip().lower()
    found = _bundle(path, printed, entries) if _is_bundle(path) else _ledger(path, printed, entries)
    typer.echo(found.model_dump_json(indent=2) if form is Format.json else _text(path, found))
    if not found.whole:
        raise typer.Exit(exits.LEDGER)


def _is_bundle(path: Path) -> bool:
    """A file, or a folder into which a bundle was unpacked."""
    from recon.model.errors import ReconError

    if not path.exists():
        raise ReconError(f"{path.as_posix()} does not exist: name a route folder or a bundle")
    return path.is_file() or (path / "bundle.json").is_file() or (path / "SHA256SUMS").is_file()


_BESIDE = "cover.html, trace.* and rows/ are worked out from the files that entries prove; no entry proves them"


def _bundle(path: Path, root: str | None, entries: int | None) -> "VerifyResults":
    """By the verifier that travels in each bundle: this recon's own, not the one in the zip."""
    from recon.ledger.bundle_verifier import Failed
    from recon.ledger.bundle_verifier import verify as verify_bundle
    from recon.ledger.verify import checked_root
    from recon.model.verify_results import VerifyResults

    failure, index, count, beside = None, {"size": 0, "root": None}, 0, list[str]()
    try:
        index, count, beside = verify_bundle(path, "" if root is None else checked_root(root), entries)
    except Failed as failed:
        failure = str(failed)
    return VerifyResults(
        format="recon-verify/1",
        what="bundle",
        whole=failure is None,
        entries=index["size"],
        root=index["root"],
        checked=count,
        failure=failure,
        remarks=[_BESIDE] * (failure is None) + [f"{name} is not part of the bundle" for name in beside],
    )


def _ledger(path: Path, root: str | None, entries: int | None) -> "VerifyResults":
    from recon.ledger.verify import verify_ledger
    from recon.model.verify_results import VerifyResults

    found = verify_ledger(path, printed=root, printed_entries=entries)
    return VerifyResults(
        format="recon-verify/1",
        what="ledger",
        whole=found.failure is None,
        entries=found.entries,
        root=found.root or None,
        checked=found.originals + found.tables + found.reports,
        failure=found.failure,
        remarks=list(found.remarks),
    )


def _text(path: Path, found: "VerifyResults") -> str:
    lines = [f"{path.as_posix()}: the {found.what} is whole"]
    if not found.whole:
        lines = [f"{path.as_posix()}: the {found.what} FAILS verification", str(found.failure)]
    lines.append(f"entries  {found.entries}")
    if found.root is not None:
        lines.append(f"root     {found.root}")
    lines.append(f"files    {found.checked} held against their hash")
    return "\n".join([*lines, *(f"note: {remark}" for remark in found.remarks)])
