"""The nearest known name to one that is not known."""

from collections.abc import Iterable


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known name that a person most likely meant, or None: 'prise' among the keys of a slot is 'price'.

    Upper and lower case, and dashes for underlines, do not count. "Halifax" finds "America/Halifax".
    """
    from difflib import get_close_matches

    by_plain: dict[str, str] = {}
    for name in known:
        by_plain.setdefault(_plain(name), name)
    sought = _plain(word)
    if sought in by_plain:
        return by_plain[sought]
    if sought:
        tails = sorted(name for plain, name in by_plain.items() if plain.endswith(f"/{sought}"))
        if tails:
            return tails[0]
    swapped = sorted(plain for plain in by_plain if sorted(plain) == sorted(sought))
    if swapped:
        return by_plain[swapped[0]]
    close = get_close_matches(sought, by_plain, n=1, cutoff=0.6)
    return by_plain[close[0]] if close else None


def _plain(name: str) -> str:
    return name.strip().lower().replace("-", "_").replace(" ", "_")
