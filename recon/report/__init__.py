"""Results written out: text, JSON and further formats. Reads results, computes nothing."""
