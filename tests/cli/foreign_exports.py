"""Invented exports in seven languages, each with the rows that it stands for.

The rows are made first, in our own terms; the export is written from them by its own columns, words and spelling of
times and amounts. What recon takes in by the drafted description has to be those rows again.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from builders import RouteBuilder, slot

ZONE = ZoneInfo("America/Halifax")
NOW = datetime(2026, 9, 29, 16, tzinfo=UTC)
LABELS = {"quay-2": ("110", "112", "114", "116", "118"), "lobby-1": ("A1", "A2", "B1", "B2")}
BUS = {
    "quay-2": dict(zip(LABELS["quay-2"], (272, 274, 276, 278, 280), strict=True)),
    "lobby-1": dict(zip(LABELS["lobby-1"], (1, 2, 11, 12), strict=True)),
}
PRICES = {"110": 175, "112": 250, "114": 200, "116": 225, "118": 110, "A1": 150, "A2": 325, "B1": 195, "B2": 80}

Row = dict[str, Any]


def route_in(root: Path) -> RouteBuilder:
    """The route that all these exports belong to: two machines whose labels and numbers differ."""
    route = RouteBuilder(root).settings(timezone="America/Halifax")
    for machine, labels in LABELS.items():
        slots = [
            slot(label, bus=BUS[machine][label], product=f"gum-{label}", price=f"{PRICES[label] / 100:.2f}")
            for label in labels
        ]
        route.machine(machine, *slots, site=f"Invented place of {machine}")
    return route


def moments(count: int, step_hours: int = 29) -> list[datetime]:
    """Local moments by day, from 3 August 2026, 8:05 on."""
    start = datetime(2026, 8, 3, 8, 5, 30)
    found = [start + timedelta(hours=at * step_hours) for at in range(count)]
    return [moment.replace(hour=8 + moment.hour % 12) for moment in found]


def vends(
    machines: tuple[str, ...] = ("quay-2", "lobby-1"), tenders: tuple[str, ...] = ("cash", "card", "cash", "test")
) -> list[Row]:
    outcomes = ("vended", "vended", "failed", "vended", "refunded")
    rows: list[Row] = []
    for at, moment in enumerate(moments(30)):
        machine = machines[at % len(machines)]
        label = LABELS[machine][at * 3 // 2 % len(LABELS[machine])]
        rows.append(
            {
                "machine": machine,
                "time": moment,
                "label": label,
                "bus": BUS[machine][label],
                "price": PRICES[label],
                "tender": tenders[at % len(tenders)],
                "outcome": outcomes[at % len(outcomes)],
                "reference": f"R{1000 + 7 * at}",
                "quantity": 1,
            }
        )
    return rows


def counts() -> list[Row]:
    rows: list[Row] = []
    for visit, moment in enumerate(moments(3, 24 * 9 + 1)):
        for machine, labels in LABELS.items():
            rows += [
                {
                    "machine": machine,
                    "time": moment,
                    "label": label,
                    "counted": (at * 5 + visit) % 11,
                    "loaded": (at + visit) % 7,
                    "removed": at % 2,
                    "counter": "AB",
                    "note": "turned round" if at == 1 else None,
                }
                for at, label in enumerate(labels)
            ]
    return rows


def loads() -> list[Row]:
    reasons = ("stale", "crushed", None)
    return [
        {
            "machine": machine,
            "time": moment,
            "label": LABELS[machine][at % 4],
            "loaded": at % 9 + 1,
            "removed": at % 3,
            "reason": reasons[at % 3],
        }
        for at, moment in enumerate(moments(14, 53))
        for machine in ("quay-2",)
    ]


def cash() -> list[Row]:
    return [
        {
            "machine": machine,
            "time": moment,
            "notes": 2000 + 500 * at,
            "coins": 1325 + 5 * at,
            "collected": 3325 + 505 * at,
            "tubes": 4000 - 25 * at,
        }
        for at, moment in enumerate(moments(8, 24 * 7 + 1))
        for machine in LABELS
    ]


def payouts() -> list[Row]:
    first = datetime(2026, 8, 3)
    rows: list[Row] = []
    for at in range(6):
        start = first + timedelta(days=7 * at)
        gross, fees = 34225 + 1111 * at, 2036 + 66 * at
        rows.append(
            {
                "paid_on": (start + timedelta(days=9)).date(),
                "from": start.date(),
                "to": (start + timedelta(days=6)).date(),
                "gross": gross,
                "fees": fees,
                "net": gross - fees,
                "reference": f"ST-{at + 41}",
            }
        )
    return rows


def tests() -> list[Row]:
    return [
        {"machine": machine, "time": moment, "label": LABELS[machine][at % 4]}
        for at, moment in enumerate(moments(8, 53))
        for machine in ("lobby-1",)
    ]


def point(minor: int) -> str:
    return f"{minor / 100:.2f}"


def comma(minor: int) -> str:
    return point(minor).replace(".", ",")


def hexadecimal(number: int) -> str:
    return f"{number:X}"


Spell = Callable[[Any], str]


@dataclass(frozen=True)
class Export:
    """One export. columns: their header to our field, or to a fixed text behind `=`. words, machines: ours to theirs.

    clock: how moments are written (strftime). zone: in which zone, if not that of the machines.
    """

    name: str
    file: str
    rows: list[Row]
    columns: Mapping[str, str]
    clock: str = "%Y-%m-%d %H:%M:%S"
    zone: ZoneInfo | None = None
    delimiter: str = ","
    amount: Spell = point
    bus: Spell = str
    words: Mapping[str, str] = field(default_factory=dict)
    machines: Mapping[str, str] = field(default_factory=dict)
    above: tuple[str, ...] = ()

    @property
    def kind(self) -> str:
        return self.name.split()[0]

    def text(self) -> str:
        lines = [*self.above, self.delimiter.join(self.columns)]
        for row in self.rows:
            cells = [self._cell(row, ours) for ours in self.columns.values()]
            lines.append(self.delimiter.join(f'"{cell}"' if self.delimiter in cell else cell for cell in cells))
        return "\n".join(lines) + "\n"

    def _cell(self, row: Row, ours: str) -> str:
        if ours.startswith("="):
            return ours[1:]
        if ours in ("date", "clock"):
            day, _, clock = self._moment(row["time"]).partition(" ")
            return day if ours == "date" else clock
        value = row["collected" if ours == "total" else ours]
        if value is None:
            return ""
        if ours == "time":
            return self._moment(value)
        if ours in ("paid_on", "from", "to"):
            return str(value.strftime(self.clock))
        if ours in ("price", "total", "notes", "coins", "tubes", "gross", "fees", "net"):
            return self.amount(value)
        if ours == "bus":
            return self.bus(value)
        if ours == "machine":
            return self.machines.get(value, value)
        return self.words.get(value, str(value))

    def _moment(self, moment: datetime) -> str:
        if self.zone is not None:
            moment = moment.replace(tzinfo=ZONE).astimezone(self.zone)
        return moment.strftime(self.clock)

    def truth(self) -> list[Row]:
        """The rows as recon ought to take them in: times in UTC, fields without a column left out."""
        there = {ours for ours in self.columns.values() if not ours.startswith("=")} | {"machine", "time"}
        there |= {"collected"} if there & {"total", "notes", "coins"} else set()
        kept = (there & set(self.rows[0])) - {"notes"} if self.kind == "cash" else there & set(self.rows[0])
        return [{name: self._taken(row[name]) for name in sorted(kept - {"coins"})} for row in self.rows]

    def _taken(self, value: object) -> object:
        if not isinstance(value, datetime):
            return value
        exact = value if "%S" in self.clock else value.replace(second=0)
        return exact.replace(tzinfo=ZONE).astimezone(UTC)


ENGLISH = {
    "cash": "Coins",
    "card": "Contactless",
    "test": "Service key",
    "vended": "OK",
    "failed": "Vend failed",
    "refunded": "Refunded",
}
GERMAN = {
    "cash": "Bar",
    "card": "Karte",
    "test": "Probeverkauf",
    "vended": "Ausgegeben",
    "failed": "Fehlgeschlagen",
    "refunded": "Erstattet",
}
FRENCH = {
    "cash": "Espèces",
    "card": "Carte bancaire",
    "test": "Essai",
    "vended": "Servi",
    "failed": "Non servi",
    "refunded": "Remboursé",
}
SPANISH = {
    "cash": "Efectivo",
    "card": "Tarjeta",
    "test": "Prueba",
    "vended": "Entregado",
    "failed": "No entregado",
    "refunded": "Reembolsado",
}
ITALIAN = {
    "cash": "Contanti",
    "card": "Carta di credito",
    "test": "Prova",
    "vended": "Erogato",
    "failed": "Non erogato",
    "refunded": "Rimborsato",
}
DUTCH = {
    "cash": "Contant",
    "card": "Bankkaart",
    "test": "Proef",
    "vended": "Afgegeven",
    "failed": "Mislukt",
    "refunded": "Terugbetaald",
}
PORTUGUESE = {
    "cash": "Dinheiro",
    "card": "Cartão",
    "test": "Teste",
    "vended": "Entregue",
    "failed": "Falhou",
    "refunded": "Devolvido",
}

EXPORTS = (
    Export(
        "vends in English, hexadecimal numbers, times of 12 hours",
        "sales-2026-39.csv",
        vends(),
        {
            "Terminal": "machine",
            "Transaction ID": "reference",
            "Date/Time": "time",
            "Location": "=Invented place",
            "Item No": "bus",
            "Product": "=gum",
            "Amount": "price",
            "Paid by": "tender",
            "Status": "outcome",
        },
        clock="%m/%d/%Y %I:%M:%S %p",
        bus=hexadecimal,
        words=ENGLISH,
        machines={"quay-2": "0423", "lobby-1": "0457"},
    ),
    Export(
        "vends in German, decimal commas, the machine in the file's name",
        "Verkäufe_lobby-1_2026-09.csv",
        vends(("lobby-1",)),
        {
            "Datum": "date",
            "Uhrzeit": "clock",
            "Wahlnummer": "bus",
            "Artikelbezeichnung": "=Kaugummi",
            "Preis (CAD)": "price",
            "Zahlungsart": "tender",
            "Ergebnis": "outcome",
            "Belegnummer": "reference",
        },
        clock="%d.%m.%Y %H:%M:%S",
        delimiter=";",
        amount=comma,
        words=GERMAN,
    ),
    Export(
        "vends in French, labels, prices in cents",
        "ventes-septembre.csv",
        vends(),
        {
            "Reçu": "reference",
            "Distributeur": "machine",
            "Sélection": "label",
            "Montant": "price",
            "Mode de règlement": "tender",
            "Statut": "outcome",
            "Date et heure": "time",
        },
        clock="%d/%m/%Y %H:%M",
        amount=str,
        words=FRENCH,
        machines={"quay-2": "Automate Quay 2", "lobby-1": "Automate Lobby 1"},
    ),
    Export(
        "vends in Spanish, times with their offset",
        "ventas 2026 39.csv",
        vends(tenders=("cash", "card")),
        {
            "Máquina": "machine",
            "Fecha y hora": "time",
            "Código de artículo": "bus",
            "Precio de venta": "price",
            "Moneda": "=CAD",
            "Forma de pago": "tender",
            "Resultado": "outcome",
            "N.º": "reference",
        },
        clock="%Y-%m-%dT%H:%M:%S%z",
        zone=ZoneInfo("UTC"),
        words=SPANISH,
    ),
    Export(
        "vends in Italian, clocks with points",
        "vendite_2026_39.csv",
        vends(),
        {
            "Matricola": "machine",
            "Data e ora": "time",
            "Selezione": "label",
            "Prezzo": "price",
            "Metodo di pagamento": "tender",
            "Esito": "outcome",
        },
        clock="%d/%m/%Y %H.%M",
        delimiter=";",
        amount=comma,
        words=ITALIAN,
        machines={"quay-2": "M-1001", "lobby-1": "M-1002"},
    ),
    Export(
        "vends in Dutch, no header is a word known to anyone",
        "export-39.csv",
        vends(),
        {"Kolom Q": "reference", "Kolom W": "tender", "Kolom X": "time", "Kolom Y": "machine", "Kolom Z": "bus"},
        words=DUTCH,
    ),
    Export(
        "counts in Portuguese",
        "contagem-2026-08.csv",
        counts(),
        {
            "Máquina": "machine",
            "Data": "date",
            "Hora": "clock",
            "Compartimento": "label",
            "Produto": "=pastilha",
            "Contado": "counted",
            "Reposto": "loaded",
            "Retirado": "removed",
            "Contado por": "counter",
            "Observações": "note",
        },
        clock="%d-%m-%Y %H:%M",
        delimiter="\t",
    ),
    Export(
        "counts in Dutch",
        "telling.csv",
        counts(),
        {
            "Automaat": "machine",
            "Tijdstip": "time",
            "Vak": "label",
            "Geteld": "counted",
            "Bijgevuld": "loaded",
            "Verwijderd": "removed",
            "Opmerking": "note",
        },
        clock="%Y%m%d %H%M",
        delimiter=";",
    ),
    Export(
        "loads in Italian, the machine told by its labels",
        "rifornimento_2026_08.csv",
        loads(),
        {"Data e ora": "time", "Scomparto": "label", "Caricati": "loaded", "Rimossi": "removed", "Motivo": "reason"},
        clock="%d/%m/%Y %H:%M:%S",
        delimiter=";",
    ),
    Export(
        "loads in German",
        "Nachfüllung 2026-08.csv",
        loads(),
        {
            "Gerät": "machine",
            "Zeitpunkt": "time",
            "Fach": "label",
            "Nachgefüllt": "loaded",
            "Entnommen": "removed",
            "Grund": "reason",
        },
        clock="%d.%m.%y %H:%M",
        delimiter=";",
        machines={"quay-2": "QUAY2"},
    ),
    Export(
        "cash in French",
        "recette-2026-08.csv",
        cash(),
        {
            "Date": "date",
            "Heure": "clock",
            "Automate": "machine",
            "Billets": "notes",
            "Pièces": "coins",
            "Total": "total",
            "Fond de monnaie": "tubes",
        },
        clock="%d/%m/%Y %H:%M",
        delimiter=";",
        amount=comma,
    ),
    Export(
        "cash in Spanish",
        "recaudacion-2026-08.csv",
        cash(),
        {"Expendedora": "machine", "Fecha y hora": "time", "Importe total": "total", "Cambio": "tubes"},
        clock="%d/%m/%Y %H:%M:%S",
        words=SPANISH,
    ),
    Export(
        "payouts in English, below a title",
        "payout-statement-2026-08.csv",
        payouts(),
        {
            "Statement no": "reference",
            "Period start": "from",
            "Period end": "to",
            "Card sales": "gross",
            "Processing fees": "fees",
            "Deposit": "net",
            "Deposited": "paid_on",
        },
        clock="%d-%b-%Y",
        above=("Invented processor of card payments", "For August and September"),
    ),
    Export(
        "payouts in Portuguese",
        "liquidação-08-2026.csv",
        payouts(),
        {
            "Data de pagamento": "paid_on",
            "Início do período": "from",
            "Fim do período": "to",
            "Valor bruto": "gross",
            "Taxas": "fees",
            "Valor líquido": "net",
        },
        clock="%d/%m/%Y",
        delimiter=";",
        amount=comma,
    ),
    Export(
        "tests in German",
        "Probeverkäufe.csv",
        tests(),
        {"Automat": "machine", "Fach": "label", "Zeitpunkt": "time"},
        clock="%d.%m.%Y %H:%M",
        delimiter=";",
    ),
)
