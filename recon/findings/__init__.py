"""The catalogue of finding kinds, and from figures to findings."""
