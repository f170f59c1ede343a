# ruff: noqa: E501 - lists of words
"""What the words of an export mean: how it was paid and what came of it, in seven languages.

Generic words, from memory (common practice, no source). A word that means one thing here and another there, such as
"cashless" (card or prepaid) or "key" (a prepaid key or the service key), is left out: a person has to say.
"""

from collections.abc import Mapping
from functools import cache

from recon.intake.header_words import fold
from recon.model.words import OUTCOMES, TENDERS

_TENDERS: Mapping[str, str] = {
    "cash": (
        "cash|coin|coins|bill|bills|note|notes|banknote|bar|bargeld|barzahlung|munze|munzen|schein|scheine|especes|comptant|monnaie|piece|pieces|billet|billets|"
        "efectivo|moneda|monedas|billete|billetes|metalico|contanti|contante|moneta|monete|banconota|banconote|contant|munt|munten|biljet|biljetten|"
        "dinheiro|numerario|moeda|moedas|nota|notas"
    ),
    "card": (
        "card|credit card|debit card|credit|debit|contactless|bank card|credit debit|karte|kreditkarte|debitkarte|bankkarte|girokarte|kontaktlos|ec karte|"
        "carte|carte bancaire|carte de credit|carte de debit|cb|sans contact|tarjeta|tarjeta de credito|tarjeta de debito|tarjeta bancaria|sin contacto|"
        "carta|carta di credito|carta di debito|carta bancaria|bancomat|senza contatto|kaart|bankkaart|pinpas|pin|kredietkaart|creditcard|contactloos|"
        "cartao|cartao de credito|cartao de debito|cartao bancario|sem contacto|sem contato"
    ),
    "prepaid": (
        "prepaid|pre paid|prepaid card|stored value|account balance|guthaben|guthabenkarte|wertkarte|vorausbezahlt|aufladekarte|prepaye|carte prepayee|carte rechargeable|porte monnaie|"
        "prepago|tarjeta prepago|saldo|monedero|prepagato|carta prepagata|credito residuo|chiave ricaricabile|vooruitbetaald|tegoed|tegoedkaart|"
        "pre pago|pre pagamento|cartao pre pago|carteira"
    ),
    "token": "token|tokens|voucher|wertmarke|wertmarken|gutschein|jeton|jetons|bon|ficha|fichas|vale|vales|gettone|gettoni|buono|penning|penningen|waardebon|tegoedbon",
    "free": (
        "free|free vend|complimentary|no charge|gratis|kostenlos|freiverkauf|frei|gratuit|gratuite|vente gratuite|offert|gratuito|gratuita|venta gratuita|"
        "omaggio|vendita gratuita|kosteloos|oferta|venda gratuita|gratis verkoop"
    ),
    "test": (
        "test|test vend|service|service key|testverkauf|probe|probeverkauf|testlauf|essai|vente test|vente d essai|prueba|venta de prueba|prova|vendita di prova|"
        "proef|testverkoop|proefverkoop|teste|venda de teste|cle de service|serviceschlussel"
    ),
}  # fmt: skip

_OUTCOMES: Mapping[str, str] = {
    "vended": (
        "vended|ok|okay|success|successful|succeeded|sold|delivered|dispensed|completed|complete|approved|erfolg|erfolgreich|verkauft|ausgegeben|abgegeben|"
        "vendu|servi|delivre|reussi|reussie|succes|distribue|vendido|vendida|entregado|entregada|exito|correcto|correcta|completado|completada|"
        "venduto|erogato|erogata|riuscito|riuscita|completato|consegnato|verkocht|afgegeven|geslaagd|gelukt|geleverd|uitgegeven|"
        "entregue|sucesso|concluido|concluida|dispensado|dispensada"
    ),
    "failed": (
        "failed|failure|vend failed|vend failure|error|not dispensed|not vended|unsuccessful|fault|jam|fehler|fehlgeschlagen|fehlverkauf|nicht ausgegeben|gescheitert|"
        "echec|echoue|echouee|non servi|non delivre|erreur|fallo|fallido|fallida|error de entrega|no entregado|no servido|"
        "fallito|fallita|non erogato|non erogata|non riuscito|errore|mislukt|niet afgegeven|niet uitgegeven|fout|niet geleverd|"
        "falha|falhou|falhado|falhada|nao entregue|erro"
    ),
    "cancelled": (
        "cancelled|canceled|cancel|aborted|abandoned|voided before vend|declined|abgebrochen|abbruch|abgelehnt|annule|annulee|abandonne|refuse|refusee|"
        "cancelado|cancelada|anulado|anulada|rechazado|rechazada|annullato|annullata|rifiutato|rifiutata|geannuleerd|afgebroken|geweigerd|"
        "recusado|recusada|abortado|abortada"
    ),
    "refunded": (
        "refunded|refund|money back|reversed|erstattet|ruckerstattet|ruckerstattung|erstattung|rembourse|remboursee|remboursement|reembolsado|reembolsada|reembolso|devuelto|devuelta|"
        "rimborsato|rimborsata|rimborso|stornato|terugbetaald|teruggestort|terugbetaling|devolvido|devolvida|estornado|estornada"
    ),
}  # fmt: skip


@cache
def _meanings(field: str) -> dict[str, str]:
    table = _TENDERS if field == "tender" else _OUTCOMES
    known = {word: ours for ours, words in table.items() for word in words.split("|")}
    return known | {ours: ours for ours in (TENDERS if field == "tender" else OUTCOMES)}


def meaning(field: str, word: str) -> str | None:
    """Our word for theirs, or None where it is not known or not clear. field: `tender` or `outcome`.

    A text of several words is known as a whole, or where its words all mean the same and the others say nothing.
    """
    known = _meanings(field)
    folded = fold(word)
    if folded in known:
        return known[folded]
    meant = {known.get(part) for part in folded.split() if part not in _IDLE}
    return meant.pop() if len(meant) == 1 else None


_IDLE = frozenset(
    ["payment", "paid", "pay", "vend", "sale", "with", "by", "zahlung", "bezahlt", "mit", "verkauf", "paiement", "paye", "par", "vente", "en", "pago", "pagado", "con", "venta", "pagamento", "pagato", "vendita", "in", "betaling", "betaald", "met", "verkoop", "pago", "com", "venda", "em"]
)
"""Words that stand beside the telling one and say nothing by themselves."""
