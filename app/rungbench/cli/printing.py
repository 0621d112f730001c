"""What several commands print alike: documents as JSON, states in words."""

import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

import click

_STATES: Final = {
    "A": "not connected",
    "B": "connected, not ready",
    "C": "ready to charge",
    "D": "ready to charge, ventilation required",
    "E": "0 V: pilot shorted to PE, charger off or without supply",
    "F": "charger not available",
    "invalid": "none: the level lies where no state is defined",
}


def print_json(document: Mapping[str, Any]) -> None:
    """Print a document of plain values in ASCII; NaN and infinity are refused."""
    click.echo(json.dumps(document, indent=2, allow_nan=False))


def state_words(state: Sequence[str], pwm_on: bool | None) -> str:
    """State by name and in words; both neighbours in a grey band."""
    if not state:
        return "none: the pilot's level is not known"
    named = [
        _STATES[name] if name == "invalid" else f"{name} ({_STATES[name.rstrip('12')]})"
        for name in state
    ]
    pwm = "" if pwm_on is None else ", PWM on" if pwm_on else ", steady"
    return f"{' or '.join(named)}{pwm}"
