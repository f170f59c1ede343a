"""What was seen, kept so that nothing of it can be changed unnoticed: journal, originals, tables, proofs."""
