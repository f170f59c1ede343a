"""Currency signs and codes as they stand beside amounts, and the currencies that each may mean.

A sign that can only mean a currency other than the machine's marks money that must not be counted as its own. The
codes are those of ISO 4217; which signs and abbreviations are in use is common practice (CLDR lists them).
"""

from functools import cache

from recon.model.currencies import EXPONENTS

_DOLLARS = """
    USD CAD AUD NZD HKD SGD TWD JMD BBD BSD BZD BMD FJD GYD KYD LRD NAD SBD SRD TTD XCD
    MXN ARS CLP COP UYU DOP CUP BRL NIO
"""

_MEANINGS = {
    "$": _DOLLARS, "US$": "USD", "$US": "USD", "U$S": "USD", "CA$": "CAD", "CAN$": "CAD", "C$": "CAD NIO",
    "$CA": "CAD", "$C": "CAD", "A$": "AUD", "AU$": "AUD", "$AU": "AUD", "NZ$": "NZD", "HK$": "HKD", "S$": "SGD",
    "NT$": "TWD", "MX$": "MXN", "MEX$": "MXN", "R$": "BRL", "AR$": "ARS", "CLP$": "CLP", "COL$": "COP", "$U": "UYU",
    "RD$": "DOP", "J$": "JMD", "TT$": "TTD", "N$": "NAD", "BZ$": "BZD", "€": "EUR",
    "£": "GBP EGP SYP LBP SDG SSP FKP GIP SHP", "¥": "JPY CNY", "￥": "JPY CNY", "元": "CNY TWD", "円": "JPY",
    "₩": "KRW KPW", "￦": "KRW KPW", "₹": "INR", "₽": "RUB", "₺": "TRY", "₪": "ILS", "₫": "VND", "₴": "UAH",
    "₦": "NGN", "₱": "PHP CUP", "฿": "THB", "₡": "CRC", "₲": "PYG", "₵": "GHS", "₸": "KZT", "₾": "GEL", "₼": "AZN",
    "֏": "AMD", "៛": "KHR", "₭": "LAK", "₮": "MNT", "৳": "BDT", "KR": "SEK NOK DKK ISK", "SKR": "SEK", "NKR": "NOK",
    "DKR": "DKK", "ZŁ": "PLN", "KČ": "CZK", "FT": "HUF", "LEI": "RON MDL", "LEU": "RON MDL", "L": "RON MDL HNL ALL",
    "LEK": "ALL", "LEKË": "ALL", "РУБ": "RUB BYN", "Р": "RUB", "ГРН": "UAH", "ДИН": "RSD", "DIN": "RSD", "КМ": "BAM",
    "KM": "BAM", "ДЕН": "MKD", "TL": "TRY", "FR": "CHF XAF XOF XPF", "SFR": "CHF", "FCFA": "XAF XOF",
    "RS": "INR PKR LKR NPR MUR SCR", "RP": "IDR", "RM": "MYR", "R": "ZAR", "S/": "PEN", "BS": "BOB VES", "Q": "GTQ",
    "KSH": "KES", "TSH": "TZS", "USH": "UGX", "NIS": "ILS", "KD": "KWD", "BD": "BHD", "OMR": "OMR",
}  # fmt: skip


@cache
def meanings() -> dict[str, frozenset[str]]:
    """Each sign, abbreviation and code, in capitals and with or without a point behind, to the codes it may mean."""
    found = {code: frozenset({code}) for code in EXPONENTS}
    found |= {sign: frozenset(codes.split()) for sign, codes in _MEANINGS.items()}
    return found | {f"{sign}.": codes for sign, codes in found.items() if sign.isalpha()}


def may_be(signs: str, currency: str) -> bool | None:
    """Whether what stands beside an amount (`$`, `EUR`, nothing) may mean the currency; None where it is no sign."""
    if not signs:
        return True
    codes = meanings().get(signs.upper())
    return None if codes is None else currency in codes
