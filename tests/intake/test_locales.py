"""What programs print in many countries reads back as the same value.

Source: Unicode CLDR, by way of Babel. Left out: scripts whose digits are not 0 to 9 (Arabic, Persian, Bengali, Marathi,
Burmese, Nepali), calendars other than the Gregorian, names of months in other languages than those that the intake
knows, full forms of a time (they spell out the name of the zone), two-digit years that stand first (Korean, short),
and amounts as text with words (`compact` forms).
"""

from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
from babel import Locale
from babel.dates import format_date, format_datetime
from babel.numbers import format_currency, format_decimal, get_decimal_symbol
from written import figures, times

from recon.intake.calendar_names import MONTHS
from recon.model.currencies import EXPONENTS

MONEY = [
    ("en_US", "USD"), ("en_CA", "CAD"), ("en_GB", "GBP"), ("en_AU", "AUD"), ("en_NZ", "NZD"), ("en_IE", "EUR"),
     ("en_IN", "INR"),
    ("en_ZA", "ZAR"), ("en_SG", "SGD"), ("fr_CA", "CAD"), ("fr_FR", "EUR"), ("fr_CH", "CHF"), ("de_DE", "EUR"),
     ("de_AT", "EUR"),
    ("de_CH", "CHF"), ("es_ES", "EUR"), ("es_MX", "MXN"), ("es_AR", "ARS"), ("es_CL", "CLP"), ("es_CO", "COP"),
     ("es_PE", "PEN"),
    ("it_IT", "EUR"), ("nl_NL", "EUR"), ("pt_PT", "EUR"), ("pt_BR", "BRL"), ("sv_SE", "SEK"), ("nb_NO", "NOK"),
     ("da_DK", "DKK"),
    ("fi_FI", "EUR"), ("is_IS", "ISK"), ("pl_PL", "PLN"), ("cs_CZ", "CZK"), ("sk_SK", "EUR"), ("sl_SI", "EUR"),
     ("hu_HU", "HUF"),
    ("hr_HR", "EUR"), ("ro_RO", "RON"), ("el_GR", "EUR"), ("et_EE", "EUR"), ("lv_LV", "EUR"), ("lt_LT", "EUR"),
     ("ru_RU", "RUB"),
    ("uk_UA", "UAH"), ("tr_TR", "TRY"), ("he_IL", "ILS"), ("hi_IN", "INR"), ("ja_JP", "JPY"), ("zh_CN", "CNY"),
     ("ko_KR", "KRW"),
    ("id_ID", "IDR"), ("ms_MY", "MYR"), ("vi_VN", "VND"), ("th_TH", "THB"), ("fil_PH", "PHP"), ("sw_KE", "KES"),
     ("ka_GE", "GEL"),
    ("kk_KZ", "KZT"), ("mn_MN", "MNT"), ("af_ZA", "ZAR"), ("en_US", "KWD"),
]  # fmt: skip
MINOR = [175, 5, 0, 123456, -123456, 100000, 1234567890, -99, 1000, 200]
"""Amounts in minor units, some below zero."""


@pytest.mark.parametrize("style", ["standard", "accounting", "code", "plain", "plain without thousands"])
@pytest.mark.parametrize(("place", "coin"), MONEY)
def test_an_amount_as_cldr_writes_it(place: str, coin: str, style: str) -> None:
    digits = EXPONENTS[coin]
    pattern = "#,##0." + "0" * digits if digits else "#,##0"

    def spell(minor: int) -> str:
        amount = Decimal(minor).scaleb(-digits)
        if style == "code":
            return format_currency(amount, coin, f"¤¤ {pattern}", locale=place, currency_digits=False)
        if style.startswith("plain"):
            return format_decimal(amount, pattern, locale=place, group_separator=style == "plain")
        return (
            format_currency(amount, coin, "¤" + pattern, locale=place, currency_digits=False)
            # The list of ISO 4217 gives some currencies digits that CLDR does not print in daily use.
            if (len(format_currency(1, coin, locale="en_US").partition(".")[2]) != digits)
            else format_currency(amount, coin, locale=place, format_type=style)
        )

    assert figures(*map(spell, MINOR), coin=coin) == MINOR


def test_both_decimal_marks_and_many_places_are_among_them() -> None:
    assert {get_decimal_symbol(place) for place, _ in MONEY} == {".", ","}
    assert len({place for place, _ in MONEY}) > 50


TIMES = [
    datetime(2026, 1, 14, 21, 5, 30), datetime(2026, 2, 3), datetime(2026, 3, 28, 12, 30, 1), datetime(2026, 4, 1, 9,
    7, 59),
    datetime(2026, 5, 31, 23, 59, 59), datetime(2026, 6, 30, 11, 0, 0), datetime(2026, 7, 9, 0, 30), datetime(2026, 8,
    22, 13, 1),
    datetime(2026, 9, 14, 10, 10, 10), datetime(2026, 10, 5, 5, 5, 5), datetime(2026, 11, 17, 18, 0, 9),
    datetime(2025, 12, 24, 20, 20),
]  # fmt: skip
"""One in each month."""

NAMED = [
    "en_US", "en_CA", "en_GB", "en_IE", "en_AU", "en_NZ", "en_ZA", "en_IN", "en_SG", "de_DE", "de_AT", "de_CH",
    "fr_FR", "fr_CA",
    "fr_CH", "fr_BE", "es_ES", "es_MX", "es_AR", "es_CL", "es_CO", "it_IT", "it_CH", "nl_NL", "nl_BE", "pt_PT",
    "pt_BR", "sv_SE",
    "nb_NO", "da_DK",
]  # fmt: skip
"""Places whose names of months are known."""
NUMBERED = [
    "fi_FI", "pl_PL", "cs_CZ", "sk_SK", "sl_SI", "hu_HU", "hr_HR", "ro_RO", "ru_RU", "uk_UA", "tr_TR", "lt_LT",
    "lv_LV", "et_EE",
    "is_IS", "he_IL", "id_ID", "ja_JP", "zh_CN", "vi_VN",
]  # fmt: skip
"""Places of which the short form, in figures, is read."""


@pytest.mark.parametrize("style", ["short", "medium", "long"])
@pytest.mark.parametrize("place", NAMED)
def test_a_time_as_cldr_writes_it(place: str, style: str) -> None:
    """The long form names the zone, which is UTC here."""
    read = times(*(format_datetime(at, style, locale=place) for at in TIMES))
    expected = [at.replace(second=0) if style == "short" else at for at in TIMES]
    assert [at.replace(tzinfo=None) if at else None for at in read] == expected
    assert all(at is not None and (at.tzinfo is not None) == (style == "long") for at in read)


@pytest.mark.parametrize("place", NUMBERED)
def test_a_time_in_figures_as_cldr_writes_it(place: str) -> None:
    assert times(*(format_datetime(at, "short", locale=place) for at in TIMES)) == [
        at.replace(second=0) for at in TIMES
    ]


@pytest.mark.parametrize("style", ["short", "medium", "long", "full"])
@pytest.mark.parametrize("place", NAMED)
def test_a_day_as_cldr_writes_it(place: str, style: str) -> None:
    """The full form has the day of the week in front."""
    days = [at.date() for at in TIMES]
    read = times(*(format_date(day, style, locale=place) for day in days), clock=False)
    assert [at.date() if at else None for at in read] == days


@pytest.mark.parametrize("width", ["wide", "abbreviated"])
@pytest.mark.parametrize("context", ["format", "stand-alone"])
@pytest.mark.parametrize("place", NAMED)
def test_every_month_by_its_name_with_and_without_point_in_any_case(place: str, context: str, width: str) -> None:
    names = Locale.parse(place).months[context][width]
    for spell in (str, str.upper, str.lower):
        texts = [spell(f"14 {name.strip('.')}{point} 2026 21:05") for name in names.values() for point in ("", ".")]
        assert times(*texts) == [datetime(2026, month, 14, 21, 5) for month in names for _ in range(2)]


@pytest.mark.parametrize("width", ["wide", "abbreviated"])
@pytest.mark.parametrize("place", [place for place in NAMED if place[:2] not in ("sv", "nb", "da")])
def test_the_name_of_the_weekday_is_passed_over(place: str, width: str) -> None:
    names = Locale.parse(place).days["format"][width]
    monday = datetime(2026, 9, 14, 21, 5)
    for number, name in names.items():
        at = monday + timedelta(days=number)
        for text in (
            f"{name} {at:%d/%m/%Y %H:%M}",
            f"{name}, {at:%d} September {at:%Y %H:%M}",
            f"{name} {at:%Y-%m-%d %H:%M}",
        ):
            assert times(text, "31/12/2025 10:00" if "/" in text else None)[0] == at, text


def test_no_name_of_a_month_is_another_month_elsewhere() -> None:
    """In no language of CLDR with Latin letters does one of the names that are read mean another month."""
    known_apart = {("hr", "lip"), ("cs", "srp")}
    for place in ("sv", "nb", "da", "fi", "pl", "cs", "sk", "sl", "hu", "hr", "ro", "tr", "lt", "lv",
                  "et", "is", "id", "ms", "vi", "ca", "eu",
                  "gl", "ga", "cy", "af", "sq", "bs", "az", "fil", "sw", "lb", "fy", "rm", "mt"):  # fmt: skip
        for context in ("format", "stand-alone"):
            for width in ("wide", "abbreviated"):
                for month, name in Locale.parse(place).months[context][width].items():
                    bare = name.strip(".").lower()
                    assert (place, bare) in known_apart or MONTHS.get(bare, month) == month, (place, name)


def test_days_before_the_run_only() -> None:
    assert max(TIMES).date() < date(2026, 12, 1)
