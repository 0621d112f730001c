"""Lots: a sampling plan, units drawn at random, the decision, and what the values say."""
