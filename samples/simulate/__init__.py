"""The Bayside route as a small world: what was in the machines, what was paid, and what was written down.

Invented from end to end: machines, goods, prices and people. Nothing here imports recon. The figures under
tests/truth come from this world directly, so that they can stand against recon's as a second reckoning.
"""
