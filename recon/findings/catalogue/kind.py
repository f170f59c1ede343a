"""What a kind of finding is: code, severity, words, advice and its page in the docs, in one entry."""


from typing import NamedTuple

from recon.model.words import Severity


class Kind(NamedTuple):
    """One kind of finding.

    code: as in the contract of results, `stock-short`.
    severity: `error` fails a run or a check by default; `warning` wants a look; `note` explains a figure.
    about: the fields that say what a finding of this kind is about; its id is derived from them alone.
    words: the sentence, with {names} of the facts it needs. Figures, not adjectives; no blame.
    advice: what to do next, one plain sentence or two.
    meaning, example, mend: the docs page: what it means, one as it may appear, how to mend or accept it.
    stops_run: a layout or setting with this problem cannot be used, so that `recon run` stops with exit code 2.
    """

    code: str
    severity: Severity
    about: tuple[str, ...]
    words: str
    advice: str
    meaning: str
    example: str
    mend: str
    stops_run: bool = False
