"""ISO 4217: how many decimal digits each currency has.

The list as published on 2026-01-01; a test holds it against the list that the iso4217 package carries. Codes without a
minor unit (metals, test codes) are left out: no machine takes them.
"""

from typing import Final

_BY_DIGITS: Final[dict[int, str]] = {
    0: """
        BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF
    """,
    2: """
        AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BMD BND BOB BOV BRL BSD BTN BWP BYN BZD CAD CDF CHE
        CHF CHW CNY COP COU CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD
        HKD HNL HTG HUF IDR ILS INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK
        MNT MOP MRU MUR MVR MWK MXN MXV MYR MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD
        RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH
        USD USN UYU UZS VED VES WST XAD XCD XCG YER ZAR ZMW ZWG
    """,
    3: """
        BHD IQD JOD KWD LYD OMR TND
    """,
    4: """
        CLF UYW
    """,
}

EXPONENTS: Final[dict[str, int]] = {code: digits for digits, codes in _BY_DIGITS.items() for code in codes.split()}
"""Currency code to the number of decimal digits: CAD 2, JPY 0, KWD 3."""
