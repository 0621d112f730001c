"""Measurement core of Rungbench: the control pilot from samples to verdicts."""
