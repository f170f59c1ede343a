"""Learning a machine's numbering from test vends: align, infer, name the next test."""

from recon.match.learned import Learned, NextTest, Pair, RuleStanding, TestFound

__all__ = ["Learned", "NextTest", "Pair", "RuleStanding", "TestFound"]
