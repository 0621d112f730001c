"""``rungbench qualify --plan quick`` on the firmware: sound chargers pass, faults fail rightly.

The program runs unchanged; the board's time goes as fast as the computer simulates it.
"""

import json
from dataclasses import dataclass

import pytest
from board_simulator.process import SwitchOn
from board_simulator.protocol_board import at_address
from board_simulator.words import having, qualify_words

from rungbench.cli.main import run
from rungbench.errors import ExitStatus


@dataclass(frozen=True, slots=True)
class Fault:
    """Traits of the charger, the checks that fail for it, and why just these."""

    traits: tuple[str, ...]
    failing: frozenset[str]
    why: str
    not_run: frozenset[str] = frozenset()


def fault(traits: str, failing: str, why: str, not_run: str = "") -> Fault:
    return Fault(tuple(traits.split()), frozenset(failing.split()), why, frozenset(not_run.split()))


FROM_C_ON = (
    "mains-on phases frequency-c pulse-width-c duty-change plateau-c plateau-ladder-c "
    "low-plateau-c source-resistance-c mains-off-b mains-off-unplug"
)
FAULTS = {
    "weak high rail": fault(
        "voc_high_v=10.7",
        "idle-level rail-high plateau-b plateau-ladder-b plateau-c plateau-ladder-c",
        "The divider of source and ladder scales the rail, so every high level is too low; the "
        "source itself, worked out from two of them, is right.",
    ),
    "weak low rail": fault(
        "voc_low_v=-11.1",
        "low-plateau-b low-plateau-c rail-low",
        "The diode blocks below 0 V, so the low plateau is the rail on every rung.",
    ),
    "source resistor 8 % too large": fault(
        "source_ohm=1080",
        "source-resistance source-resistance-c",
        "1080 ohm is outside 970..1030 ohm, while 8 % of it moves the plateaus by 0.2 V only.",
    ),
    "timer 0.7 % fast": fault(
        "frequency_hz=1007",
        "frequency-b frequency-c",
        "Width is judged against the measured period, so only the frequency is wrong.",
    ),
    "pulse 8 us too long": fault(
        "pulse_offset_us=8",
        "pulse-width-b pulse-width-c advertised-current",
        "8 us exceed 5 us, and are 0.48 A more than 16 A.",
    ),
    "set to 20 A, sold as 16 A": fault(
        "set_a=20",
        "pulse-width-b pulse-width-c advertised-current",
        "20 A is 33.3 % and not 26.7 %: no setting of a 16 A charger explains it.",
    ),
    "slow contactor": fault(
        "close_s=3.4", "mains-on", "Table A.6 of IEC 61851-1:2017 allows 3 s to mains on."
    ),
    "mains linger after C": fault(
        "open_ms=150", "mains-off-b", "100 ms from C to B; unplugging has a delay of its own."
    ),
    "mains linger after unplugging": fault(
        "unplug_ms=180", "mains-off-unplug", "100 ms from unplugging; C to B has its own delay."
    ),
    "two phases dead": fault(
        "phases=1", "phases", "One phase switches in time, and three were declared."
    ),
    "mains without a vehicle asking": fault(
        "mains_in_b=yes",
        "no-mains-b",
        "Mains in B is fatal: the run ends there, and C is never presented.",
        FROM_C_ON,
    ),
    "welded contact": fault(
        "welded=yes",
        "mains-off-b outlet-dead",
        "Mains never goes off: seen after C to B, and once more on open.",
        "mains-off-unplug",
    ),
    "pulses with nobody there": fault(
        "pwm_in_a=yes",
        "no-pwm-unplugged",
        "Pulses in A; what is steady cannot be told of them, which decides nothing.",
        "idle-steadiness",
    ),
}


# Told by the others, too: they take their turn with the slow tests.
SLOW = {
    "set to 20 A, sold as 16 A",
    "mains linger after unplugging",
    "two phases dead",
    "pulses with nobody there",
}
ALL_FAULTS = [pytest.param(name, marks=pytest.mark.slow if name in SLOW else ()) for name in FAULTS]


def test_faults_are_many() -> None:
    assert len(set(FAULTS) - SLOW) >= 8


@pytest.mark.usefixtures("calibrated")
@pytest.mark.parametrize("name", ALL_FAULTS)
def test_a_fault_fails_where_physics_puts_it(
    switch_on: SwitchOn, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    wrong = FAULTS[name]
    board = switch_on(*wrong.traits)
    with at_address(board) as url:
        status = run(qualify_words(url))
    document = json.loads(capsys.readouterr().out)
    assert having(document, "fail") == wrong.failing, wrong.why
    assert having(document, "not run") == wrong.not_run, wrong.why
    assert having(document, "bench fault") == having(document, "undecided") == set()
    assert (document["verdict"], status) == ("fail", ExitStatus.FAILED)
    assert board.pins()["rung"] == "open"


@pytest.mark.usefixtures("calibrated")
@pytest.mark.parametrize(
    "traits",
    [
        pytest.param(
            ("voc_high_v=12.4", "voc_low_v=-11.7", "source_ohm=985", "cs_pf=1600"),
            marks=pytest.mark.slow,
        ),
        ("phases=3", "frequency_hz=1003.5", "open_ms=85", "unplug_ms=80", "close_s=2.5"),
    ],
    ids=["levels near their limits", "times near their limits"],
)
def test_sound_chargers_pass(
    switch_on: SwitchOn, capsys: pytest.CaptureFixture[str], traits: tuple[str, ...]
) -> None:
    board = switch_on(*traits)
    with at_address(board) as url:
        status = run(qualify_words(url))
    document = json.loads(capsys.readouterr().out)
    assert (document["verdict"], status) == ("pass", ExitStatus.DONE), having(document, "fail")
    assert document["simulated"] is False
    assert document["board"]["board_id"] == "RB-SIMAVR-1"
    assert "volts-RB-SIMAVR-1" in document["calibration"]["id"]


@pytest.mark.slow
def test_without_a_calibration_voltages_stay_undecided(
    switch_on: SwitchOn, capsys: pytest.CaptureFixture[str]
) -> None:
    with at_address(switch_on()) as url:
        status = run(qualify_words(url))
    document = json.loads(capsys.readouterr().out)
    assert having(document, "undecided") == {
        "idle-level", "plateau-b", "low-plateau-b", "source-resistance", "rail-high", "rail-low",
        "plateau-c", "low-plateau-c", "source-resistance-c",
    }  # fmt: skip
    assert having(document, "fail") == set()
    assert (document["verdict"], status) == ("undecided", ExitStatus.UNDECIDED)
