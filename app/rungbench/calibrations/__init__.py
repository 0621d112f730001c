"""Calibrations of stand-ins: dated records, the procedure that makes them, and their use."""
