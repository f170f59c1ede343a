"""Prices, stock windows, cash, payouts and summaries: figures, with no judgement on them."""
