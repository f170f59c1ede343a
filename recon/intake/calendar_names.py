"""Names of months and weekdays in English, German, French, Spanish, Italian, Dutch and Portuguese, full and
short; in full also those of Danish, Norwegian and Swedish.

Which names each language has is as in CLDR; a test holds them against it. Points behind and the case do not matter,
and accents may be missing, as old programs leave them out.
"""

import unicodedata

_MONTHS = (
    "january jan januar jänner jän janvier janv enero ene gennaio gen januari janeiro",
    "february feb februar févr février fév febrero febbraio februari fevereiro fev",
    "march mar märz mär mrz maerz mars marts marzo maart mrt março",
    "april apr avril avr abril abr aprile",
    "may mai mayo maggio mag mei maio maj",
    "june jun juni juin junio giugno giu junho",
    "july jul juli juillet juil juill julio luglio lug julho",
    "august aug août agosto ago augustus augusti",
    "september sep sept septembre septiembre setiembre settembre set setembro",
    "october oct oktober okt octobre octubre ottobre ott outubro out",
    "november nov novembre noviembre novembro",
    "december dec dezember dez décembre déc diciembre dic dicembre dezembro desember des",
)
_WEEKDAYS = """
    monday mon montag mo lundi lun lunes lunedì maandag ma segunda-feira segunda seg mandag måndag
    tuesday tue tues dienstag di mardi martes martedì dinsdag terça-feira terça ter tirsdag tisdag
    wednesday wed mittwoch mi mercredi mer miércoles mié mercoledì woensdag wo quarta-feira quarta qua onsdag
    thursday thu thur thurs donnerstag do jeudi jeu jueves jue giovedì gio donderdag quinta-feira quinta qui torsdag
    friday fri freitag fr vendredi ven viernes vie venerdì vrijdag vr sexta-feira sexta sex fredag
    saturday sat samstag sonnabend sa samedi sam sábado sáb sabato sab zaterdag za lørdag lördag
    sunday sun sonntag so dimanche dim domingo dom domenica zondag zo søndag söndag
"""

ENGLISH = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
"""The short names that polars reads (%b)."""

MONTH_AND_WEEKDAY = "mar"
"""March in four of the languages; Tuesday, short, in three of them."""


def _bare(name: str) -> str:
    return "".join(letter for letter in unicodedata.normalize("NFD", name) if not unicodedata.combining(letter))


def _spelled(names: str) -> set[str]:
    return {spelling for name in names.split() for spelling in (name, _bare(name))}


MONTHS: dict[str, int] = {
    name: number for number, names in enumerate(_MONTHS, start=1) for name in sorted(_spelled(names))
}
"""Each name in small letters to the number of its month."""

WEEKDAYS: tuple[str, ...] = tuple(sorted(_spelled(_WEEKDAYS), key=lambda name: (-len(name), name)))
"""Every name in small letters, longer ones first. (`mar` is left to the months.)"""
