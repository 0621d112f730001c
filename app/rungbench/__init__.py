"""Bench software for qualifying AC chargers at the control-pilot contact."""

__version__ = "0.1.0"
