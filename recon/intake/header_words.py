# ruff: noqa: E501 - lists of words, a language a line
"""The words by which exports head their columns, for each of our fields, in seven languages.

Generic words of trade and bookkeeping, from memory (common practice, no source): English, German, French, Spanish,
Italian, Dutch, Portuguese, a line each. A word behind a tilde is weak: it is met above other things as well. Words are
compared folded: lower case, without accents, marks as blanks.
"""

import re
import unicodedata
from collections.abc import Sequence
from functools import cache

from recon.model.words import FileKind

_WEAK = 0.5

_WORDS: dict[str, tuple[str, ...]] = {
    "machine": (
        "machine|machine id|machine name|machine number|machine no|terminal|terminal id|device|device id|vending machine|unit id|~unit|~asset|~equipment|~reader|~station",
        "automat|automatennummer|automaten nr|automatenname|gerat|geratenummer|gerate nr|maschine|maschinennummer|~terminal nr",
        "automate|distributeur|numero de machine|appareil|borne|terminal de paiement|~poste|~equipement",
        "maquina|numero de maquina|expendedora|maquina expendedora|dispositivo|~equipo",
        "macchina|distributore|distributore automatico|apparecchio|matricola|numero macchina|~dispositivo",
        "automaat|machinenummer|verkoopautomaat|apparaat|toestel|~toestelnummer",
        "maquina|equipamento|numero da maquina|maquina de venda|~aparelho",
    ),
    "time": (
        "time|date time|datetime|date and time|timestamp|vend time|sale time|transaction time|transaction date|time of sale|occurred at|counted at|~date|~when|~day",
        "zeitpunkt|zeitstempel|datum uhrzeit|datum und uhrzeit|datum zeit|verkaufszeit|zeit|gezahlt am|~datum|~wann",
        "date heure|date et heure|horodatage|moment|heure de vente|date de vente|~date|~heure",
        "fecha hora|fecha y hora|marca de tiempo|momento|hora de venta|fecha de venta|~fecha|~hora",
        "data ora|data e ora|momento|orario vendita|data vendita|~data|~ora|~orario",
        "datum tijd|datum en tijd|tijdstip|tijdstempel|verkooptijd|~datum|~tijd",
        "data hora|data e hora|momento|hora da venda|data da venda|~data|~hora",
    ),
    "date": (
        "date|day|sale date|transaction date", "datum|tag|verkaufsdatum|buchungstag", "date|jour|date de vente",
        "fecha|dia|fecha de venta", "data|giorno|data vendita", "datum|dag|verkoopdatum", "data|dia|data da venda",
    ),
    "clock": (
        "time|clock|time of day|hour", "uhrzeit|zeit|uhr|verkaufszeit", "heure|heure de vente", "hora|hora de venta",
        "ora|orario", "tijd|uur|kloktijd", "hora|horario|hora da venda",
    ),
    "bus": (
        "item number|item no|item code|item|bus number|bus|bus item|mdb|mdb item|mdb number|column number|column no|spiral|~slot|~selection|~position|~column",
        "artikelnummer|artikel nr|positionsnummer|position|wahlnummer|busnummer|spirale|spiralnummer|~fach|~fachnummer|~spalte|~wahl",
        "numero d article|no article|article no|code article|numero de spirale|spirale|position|~choix|~selection|~article",
        "numero de articulo|n articulo|codigo de articulo|espiral|posicion|~seleccion|~articulo",
        "numero articolo|n articolo|codice articolo|spirale|posizione|~selezione|~articolo",
        "artikelnummer|artikelcode|positie|spiraal|spiraalnummer|~vak|~keuze",
        "numero do artigo|n artigo|codigo do artigo|mola|espiral|posicao|~selecao|~artigo",
    ),
    "label": (
        "label|slot|selection|slot label|selection code|key|keypad|tray slot|shelf slot|~column|~position|~item|~item code|~code",
        "fach|wahl|fachnummer|auswahl|wahltaste|tastenwahl|schacht|schachtnummer|~position|~platz|~nummer",
        "choix|selection|emplacement|case|casier|touche|~position|~code",
        "seleccion|ranura|casilla|canal|tecla|~posicion|~codigo",
        "selezione|scomparto|casella|tasto|~posizione|~codice",
        "vak|keuze|vakje|vaknummer|selectie|toets|~positie|~code",
        "selecao|ranhura|compartimento|gaveta|tecla|~posicao|~codigo",
    ),
    "price": (
        "price|unit price|sale price|vend price|selling price|~amount|~value|~sum|~paid|~sales",
        "preis|verkaufspreis|einzelpreis|stuckpreis|vk preis|~betrag|~wert|~umsatz",
        "prix|prix de vente|prix unitaire|prix ttc|~montant|~valeur",
        "precio|precio de venta|precio unitario|pvp|~importe|~monto|~valor",
        "prezzo|prezzo di vendita|prezzo unitario|~importo|~valore",
        "prijs|verkoopprijs|stukprijs|eenheidsprijs|~bedrag|~waarde",
        "preco|preco de venda|preco unitario|~valor|~montante|~importancia",
    ),
    "tender": (
        "tender|paid by|payment|payment method|payment type|method of payment|pay type|means of payment|paid with|~type|~method",
        "zahlart|zahlungsart|zahlungsmittel|bezahlt mit|bezahlart|zahlweise|bezahlung|zahlung|~art",
        "paiement|mode de paiement|moyen de paiement|type de paiement|reglement|mode de reglement|paye par|~mode",
        "pago|forma de pago|metodo de pago|medio de pago|tipo de pago|pagado con|~forma|~medio",
        "pagamento|metodo di pagamento|tipo di pagamento|modalita di pagamento|mezzo di pagamento|pagato con|~modalita",
        "betaling|betaalwijze|betaalmiddel|betaalmethode|betaald met|wijze van betaling|soort betaling|~wijze",
        "pagamento|forma de pagamento|meio de pagamento|metodo de pagamento|tipo de pagamento|pago com|~forma|~meio",
    ),
    "outcome": (
        "outcome|status|result|state|vend result|vend status|delivery|dispensed",
        "ergebnis|status|resultat|zustand|ausgabe|ausgabestatus",
        "resultat|statut|etat|issue|distribution",
        "resultado|estado|entrega|situacion",
        "esito|stato|risultato|erogazione",
        "resultaat|status|uitkomst|afgifte|uitgifte",
        "resultado|estado|situacao|entrega",
    ),
    "reference": (
        "reference|ref|transaction id|transaction number|transaction no|transaction|txn|txn id|trans id|receipt|receipt number|receipt no|statement|statement no|document|serial|voucher|~id|~number|~no",
        "referenz|belegnummer|beleg nr|beleg|vorgang|vorgangsnummer|transaktion|transaktionsnummer|buchungsnummer|laufende nummer|lfd nr|abrechnung|~nr|~nummer",
        "reference|no de recu|recu|numero de recu|ticket|numero de transaction|transaction|no transaction|releve|bordereau|~numero|~no",
        "referencia|recibo|numero de recibo|numero de transaccion|transaccion|operacion|numero de operacion|ticket|folio|~numero|~n o",
        "riferimento|ricevuta|scontrino|numero transazione|transazione|numero operazione|operazione|distinta|~numero",
        "referentie|bonnummer|bon|kenmerk|transactienummer|transactie|volgnummer|boekingsnummer|~nummer|~nr",
        "referencia|recibo|numero do recibo|numero da transacao|transacao|talao|operacao|numero da operacao|~numero|~n o",
    ),
    "quantity": (
        "quantity|qty|units|pieces|~count|~number of items", "menge|anzahl|stuck|stuckzahl", "quantite|qte|nombre|unites",
        "cantidad|cant|unidades", "quantita|qta|pezzi", "aantal|hoeveelheid|stuks", "quantidade|qtd|unidades",
    ),
    "counted": (
        "counted|count|stock count|units counted|in slot|on hand|found|actual|actual count|~stock|~quantity|~units",
        "gezahlt|bestand|gezahlter bestand|ist bestand|istbestand|zahlung stuck|inventur|~menge|~anzahl|~stuck",
        "compte|comptage|stock compte|quantite comptee|inventaire|en place|~stock|~quantite",
        "contado|recuento|contadas|unidades contadas|existencias|inventario|~stock|~cantidad",
        "contato|conteggio|contati|pezzi contati|giacenza|inventario|~quantita",
        "geteld|telling|getelde stuks|voorraad|aanwezig|~aantal",
        "contado|contagem|contadas|unidades contadas|existencia|inventario|~quantidade",
    ),
    "loaded": (
        "loaded|added|filled|refilled|refill|restocked|put in|units loaded|load|~quantity|~units",
        "nachgefullt|aufgefullt|gefullt|befullt|eingefullt|fullung|nachfullung|zugang|~menge",
        "charge|ajoute|rempli|recharge|remplissage|mis en place|~quantite",
        "cargado|cargadas|repuesto|repuestas|reposicion|anadido|anadidas|~cantidad",
        "caricato|caricati|rifornito|riforniti|aggiunti|carico|rifornimento|~quantita",
        "bijgevuld|gevuld|toegevoegd|geladen|aangevuld|~aantal",
        "carregado|carregadas|reposto|repostas|reposicao|adicionado|adicionadas|~quantidade",
    ),
    "removed": (
        "removed|taken out|pulled|spoiled|waste|expired|units removed|returns",
        "entnommen|entfernt|abgang|verderb|herausgenommen|entnahme|ausgesondert",
        "retire|retires|enleve|perime|perimes|pertes|retrait",
        "retirado|retiradas|quitado|caducado|caducadas|mermas|retirada",
        "rimosso|rimossi|tolto|tolti|scaduti|scarto|prelevati",
        "verwijderd|uitgenomen|eruit gehaald|afgevoerd|verlopen",
        "retirado|retiradas|removido|removidas|caducado|vencidas|perdas",
    ),
    "counter": (
        "counter|counted by|staff|initials|employee|operator|by", "zahler|gezahlt von|mitarbeiter|kurzel|bediener|fahrer",
        "compteur|compte par|employe|initiales|agent", "contador|contado por|empleado|iniciales|operario",
        "contato da|addetto|operatore|iniziali", "teller|geteld door|medewerker|initialen", "contado por|contador|funcionario|iniciais",
    ),
    "note": (
        "note|comment|comments|remark|remarks|memo", "notiz|bemerkung|bemerkungen|anmerkung|hinweis|kommentar", "remarque|remarques|commentaire|observation|observations",
        "nota|comentario|comentarios|observacion|observaciones", "annotazione|commento|osservazione|osservazioni|appunto",
        "opmerking|opmerkingen|notitie|toelichting", "nota|observacao|observacoes|comentario|comentarios",
    ),
    "reason": (
        "reason|cause|why", "grund|ursache|anlass", "motif|raison|cause", "motivo|razon|causa", "motivo|causa|ragione",
        "reden|oorzaak", "motivo|razao|causa",
    ),
    "total": (
        "total|collected|cash collected|total cash|takings|amount collected|cash total|~amount|~sum|~cash",
        "summe|gesamt|gesamtbetrag|entnommenes geld|einnahmen|kassiert|bargeld gesamt|entleerung|~betrag|~bargeld",
        "total|montant total|recette|especes relevees|encaisse|somme|releve|~montant|~especes",
        "total|recaudado|recaudacion|importe total|efectivo recaudado|cobrado|~importe|~efectivo",
        "totale|incasso|incassato|importo totale|contante raccolto|~importo|~contante",
        "totaal|totaalbedrag|opbrengst|opgehaald|geleegd bedrag|~bedrag|~contant",
        "total|recolhido|receita|valor total|dinheiro recolhido|cobrado|~valor|~dinheiro",
    ),
    "notes": (
        "notes|bills|banknotes|paper money|bank notes", "scheine|banknoten|geldscheine|noten", "billets|billets de banque", "billetes",
        "banconote|biglietti", "biljetten|bankbiljetten|briefgeld", "notas de banco|notas|cedulas",
    ),
    "coins": (
        "coins|coin|coin box", "munzen|munzgeld|hartgeld", "pieces|monnaie", "monedas", "monete|spiccioli", "munten|muntgeld", "moedas",
    ),
    "tubes": (
        "tubes|coin tubes|changer|left in changer|change float|float", "tuben|munzrohren|wechselgeld|wechslerbestand|rohren", "tubes|tubes a monnaie|fond de monnaie|rendeur",
        "tubos|cambio|devolvedor|fondo de cambio", "tubi|rendiresto|fondo resto", "buizen|muntbuizen|wisselgeld", "tubos|troco|fundo de troco|moedeiro",
    ),
    "paid_on": (
        "paid on|payment date|payout date|deposited|deposit date|settled on|settlement date|value date|~date",
        "ausgezahlt am|auszahlungsdatum|zahldatum|gutschrift am|wertstellung|valuta|buchungstag|~datum",
        "paye le|date de versement|verse le|date de paiement|date de valeur|~date",
        "pagado el|fecha de pago|fecha de abono|abonado el|fecha valor|~fecha",
        "pagato il|data accredito|data di pagamento|accreditato il|data valuta|~data",
        "betaald op|uitbetaald op|uitbetalingsdatum|betaaldatum|valutadatum|~datum",
        "pago em|data de pagamento|data do deposito|creditado em|data valor|~data",
    ),
    "from": (
        "from|period start|start|start date|period from|first day", "von|zeitraum von|beginn|ab|erster tag", "du|debut|debut de periode|periode du|de",
        "desde|inicio|inicio del periodo|periodo desde|del", "dal|da|inizio|inizio periodo|periodo dal", "van|begin|periode van|vanaf", "de|desde|inicio|inicio do periodo|periodo de",
    ),
    "to": (
        "to|period end|end|end date|period to|until|last day", "bis|zeitraum bis|ende|letzter tag", "au|fin|fin de periode|periode au|jusqu au",
        "hasta|fin|fin del periodo|periodo hasta|al", "al|a|fine|fine periodo|periodo al", "tot|einde|periode tot|tot en met|t m", "ate|fim|fim do periodo|periodo ate|a",
    ),
    "gross": (
        "gross|gross sales|card sales|sales|gross amount|turnover|~total|~amount", "brutto|bruttobetrag|bruttoumsatz|umsatz|kartenumsatz|~summe", "brut|montant brut|ventes|ventes par carte|chiffre d affaires|~total",
        "bruto|importe bruto|ventas|ventas con tarjeta|~total", "lordo|importo lordo|vendite|vendite con carta|~totale", "bruto|brutobedrag|omzet|kaartomzet|~totaal", "bruto|valor bruto|vendas|vendas com cartao|~total",
    ),
    "fees": (
        "fees|fee|commission|charges|processing fees|processing fee|costs", "gebuhren|gebuhr|provision|entgelt|disagio|kosten", "frais|commission|commissions|frais de traitement",
        "comision|comisiones|gastos|tasas", "commissioni|commissione|spese|costi", "kosten|commissie|provisie|transactiekosten", "taxas|taxa|comissao|comissoes|encargos",
    ),
    "net": (
        "net|net amount|deposit|payout|paid out|amount paid|net deposit|~amount|~paid|~total", "netto|nettobetrag|auszahlung|ausgezahlt|auszahlungsbetrag|gutschrift|~betrag", "net|montant net|versement|verse|montant verse|net verse|~montant",
        "neto|importe neto|abono|liquido|abonado|ingreso|~importe", "netto|importo netto|accredito|accreditato|~importo", "netto|nettobedrag|uitbetaling|uitbetaald|~bedrag", "liquido|valor liquido|deposito|montante liquido|creditado|~valor",
    ),
}  # fmt: skip

_OTHERS = (
    "product|product name|article name|description|goods|location|site|place|customer|currency|tax|vat|tax rate|balance|card number|card no|last four|masked card|card type|brand|route|"
    "temperature|firmware|battery|signal|capacity|par|email|phone|cost|upload time|uploaded|imported|exported|created|received|discount|loyalty|operator id",
    "produkt|produktname|artikelname|artikelbezeichnung|bezeichnung|ware|standort|ort|kunde|wahrung|steuer|mwst|mwst satz|saldo|restguthaben|kartennummer|kartentyp|temperatur|kapazitat|ubertragen",
    "produit|designation|libelle|nom du produit|lieu|site|client|devise|taxe|tva|solde|numero de carte|temperature|capacite|transmis",
    "producto|nombre del producto|descripcion|lugar|ubicacion|sitio|cliente|moneda|divisa|impuesto|iva|saldo|numero de tarjeta|temperatura|capacidad",
    "prodotto|nome prodotto|descrizione|luogo|ubicazione|sede|cliente|valuta|imposta|iva|saldo|numero carta|temperatura|capacita",
    "product|productnaam|artikelnaam|omschrijving|locatie|plaats|klant|valuta|munteenheid|belasting|btw|saldo|kaartnummer|temperatuur|capaciteit",
    "produto|nome do produto|descricao|local|localizacao|cliente|moeda|imposto|iva|saldo|numero do cartao|temperatura|capacidade",
)  # fmt: skip
"""Above columns that are none of our fields, and that must not pass for one."""

_KINDS: dict[FileKind, str] = {
    "vends": "sales|sale|vend|vends|verkauf|verkaufe|umsatze|vente|ventes|venta|ventas|vendita|vendite|verkoop|verkopen|venda|vendas|transactions|transaktionen|transazioni|transacciones|transacoes",
    "counts": "count|counts|stock|inventory|zahlung|inventur|bestand|comptage|inventaire|recuento|inventario|conteggio|telling|voorraad|contagem|contagens|bestande",
    "loads": "load|loads|refill|refills|restock|fullung|befullung|nachfullung|remplissage|chargement|reposicion|carga|rifornimento|carico|bijvulling|reposicao|carregamento",
    "cash": "cash|collection|collections|kasse|entleerung|leerung|bargeld|caisse|especes|recette|recaudacion|efectivo|incasso|contanti|kas|leging|dinheiro|recolha",
    "payouts": "payout|payouts|settlement|statement|deposits|auszahlung|auszahlungen|abrechnung|versement|versements|releve|abonos|liquidacion|accrediti|liquidazione|uitbetaling|uitbetalingen|pagamentos|depositos|liquidacao",
    "tests": "test|tests|testvends|probeverkaufe|probe|essai|essais|prueba|pruebas|prova|prove|proef|proeven|teste|testes",
}  # fmt: skip
"""In the names of files."""


def fold(text: str) -> str:
    """Lower case, without accents, camel case parted, whatever is neither letter nor digit as one blank."""
    parted = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", " ", text)
    bare = "".join(
        mark for mark in unicodedata.normalize("NFKD", parted.casefold()) if not unicodedata.combining(mark)
    )
    return " ".join(re.findall(r"[^\W_]+", bare))


@cache
def _phrases(lines: tuple[str, ...]) -> dict[str, float]:
    found: dict[str, float] = {}
    for phrase in "|".join(lines).split("|"):
        weight = _WEAK if phrase.startswith("~") else 1.0
        bare = phrase.removeprefix("~")
        found[bare] = max(found.get(bare, 0.0), weight)
    return found


@cache
def _fit(header: str, lines: tuple[str, ...]) -> float:
    """How well a folded header is one of the phrases: 1 as it stands, less where it only holds one or is made with one."""
    phrases = _phrases(lines)
    best = phrases.get(header, 0.0)
    words = header.split()
    for first in range(len(words)):
        for last in range(first + 1, len(words) + 1):
            share = (last - first) / len(words)
            best = max(best, phrases.get(" ".join(words[first:last]), 0.0) * (0.5 + 0.4 * share))
    for word in words:
        # Words are made of words in German and Dutch: Verkaufszeit is a Zeit, an Automatenname is of an Automat.
        made = [
            phrases[phrase]
            for phrase in phrases
            if len(phrase) >= 4
            and phrase != word
            and (word.endswith(phrase) or (len(phrase) >= 6 and word.startswith(phrase)))
        ]
        best = max(best, 0.5 * max(made, default=0.0))
    return best


def header_fit(header: str, field: str) -> float:
    """How well a column's header names a field: 0 (not at all) to 1 (it is one of its words).

    What stands in brackets, such as a unit, is passed over. A header that names none of our fields better counts against it.
    """
    folded = fold(re.sub(r"[(\[].*?[)\]]", " ", header)) or fold(header)
    if folded == field.replace("_", " "):
        return 1.0
    fit = _fit(folded, _WORDS[field])
    return fit if fit >= _fit(folded, _OTHERS) else fit - 1.0


@cache
def _names_a_field(cell: str) -> bool:
    return (
        len(cell) <= 60
        and not re.search(r"\d", cell)
        and any(header_fit(cell, field) >= _SURE for field in _WORDS)
    )


_SURE = 0.9


def known_headers(cells: Sequence[str]) -> tuple[bool, int]:
    """How many cells of a line head a column in words known here: by it the header is found below titles."""
    return False, sum(_names_a_field(cell) for cell in cells)


def kind_fit(name: str, kind: FileKind) -> bool:
    """Whether a file's name has a word for this kind of file."""
    return any(word in _phrases((_KINDS[kind],)) for word in fold(name).split())
