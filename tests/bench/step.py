"""One step of the benchmarks in a process of its own, so that its time and memory are its own."""

import sys
from pathlib import Path


def main(name: str, words: list[str]) -> None:
    """lay FOLDER MACHINES WEEKS ROWS SEED SLOTS; peer NAME FOLDER OUT; equal RESULTS OUT; scans OUT OUT."""
    if name == "lay":
        from routes import Size, lay

        machines, weeks, rows, seed, slots = map(int, words[1:])
        lay(Path(words[0]), Size(machines, weeks, rows, seed, slots))
    elif name == "peer":
        import peers

        getattr(peers, words[0])(Path(words[1]), Path(words[2]))
    elif name == "equal":
        from equal import hold_against

        sys.stdout.write(hold_against(Path(words[0]), Path(words[1])) + "\n")
    elif name == "scans":
        from equal import hold_scans_against

        sys.stdout.write(hold_scans_against(Path(words[0]), Path(words[1])) + "\n")
    else:
        raise SystemExit(f"no step {name}")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
