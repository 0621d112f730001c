"""The simulator's charger does what its traits say, as its contacts and its pilot tell.

A wrong charger here would make wrong measurements look right.
"""

from collections.abc import Callable

import pytest
from board_session import BoardSession
from board_simulator.line import FirmwareLine
from board_simulator.process import TICKS_PER_SECOND, BoardProcess, SwitchOn

from rungbench.link.messages import OPEN, CableCode, EventKind, Rung, Setting

B, C, D, SHORT = (Setting(rung) for rung in (Rung.B, Rung.C, Rung.D, Rung.SHORT))
NO_DIODE = Setting(Rung.C, diode_in=False)


class Bench:
    """A session, and the moments of what happened at the contacts."""

    def __init__(self, process: BoardProcess) -> None:
        self.process = process
        self.session = BoardSession(FirmwareLine(process))
        self.session.hello()

    def present(self, setting: Setting, seconds: float) -> list[tuple[int, str, str]]:
        """What happens from presenting a setting until so many seconds later."""
        self.process.changes()
        self.session.present(setting)
        self.session.listen(seconds)
        return self.process.changes()

    def duty_percent(self) -> float:
        self.session.listen(0.05)
        self.process.truth()
        self.session.listen(0.2)
        truth = self.process.truth()
        return 100.0 * float(truth["width_us"]) / float(truth["period_us"])

    @property
    def live(self) -> bool:
        return any(self.process.pins()["mains"])


@pytest.fixture
def bench(switch_on: SwitchOn) -> Callable[..., Bench]:
    return lambda *traits: Bench(switch_on(*traits))


def delay_s(changes: list[tuple[int, str, str]], what: str) -> float:
    """From the first move of the ladder's contacts to the last of something."""
    first = next(tick for tick, name, _ in changes if name == "rung")
    last = [tick for tick, name, _ in changes if name == what][-1]
    return (last - first) / TICKS_PER_SECOND


def test_delays_are_those_of_its_traits(bench: Callable[..., Bench]) -> None:
    at = bench("close_s=0.7", "open_ms=61", "unplug_ms=33", "short_ms=90", "pulses_after_s=0.4")
    assert delay_s(at.present(B, 0.8), "pulses") == pytest.approx(0.4, abs=0.002)
    assert delay_s(at.present(C, 1.0), "pole") == pytest.approx(0.7, abs=0.002)
    assert delay_s(at.present(B, 0.3), "pole") == pytest.approx(0.061, abs=0.002)
    at.present(C, 1.0)
    assert delay_s(at.present(OPEN, 0.3), "pole") == pytest.approx(0.033, abs=0.002)
    at.present(B, 0.8)
    at.present(C, 1.0)
    assert delay_s(at.present(SHORT, 0.3), "pole") == pytest.approx(0.090, abs=0.002)
    assert not at.live


def test_no_mains_without_a_diode_unless_it_does_not_look(bench: Callable[..., Bench]) -> None:
    careful, careless = bench("close_s=0.2"), bench("close_s=0.2", "checks_diode=no")
    for at, live in ((careful, False), (careless, True)):
        at.present(NO_DIODE, 1.5)
        assert at.live is live
        # The bypass pulls the low plateau up: 882 ohm against 997 at -12.04 V.
        assert at.process.truth()["low_v"] == pytest.approx(
            -12.04 * 882.6 / (882.6 + 997), abs=0.02
        )


def test_ventilation_is_refused_or_allowed(bench: Callable[..., Bench]) -> None:
    refusing, allowing = bench("close_s=0.2"), bench("close_s=0.2", "ventilation=allow")
    for at, live in ((refusing, False), (allowing, True)):
        at.present(D, 1.5)
        assert at.live is live


def test_a_socket_offers_no_more_than_the_cable_carries(bench: Callable[..., Bench]) -> None:
    at = bench("outlet=socket", "rated_a=32")
    at.present(Setting(Rung.B), 1.5)
    assert not at.process.pins()["pulses"], "without a plug there are none"
    # IEC 61851-1:2017 Table A.7: a duty for every ampere of 1/0.6 %.
    for code, ampere in ((CableCode.A13, 13), (CableCode.A20, 20), (CableCode.A63, 32)):
        at.present(Setting(Rung.B, cable=code), 1.0)
        assert at.duty_percent() == pytest.approx(ampere / 0.6, abs=0.1)
    careless = bench("outlet=socket", "rated_a=32", "obeys_cable=no")
    careless.present(Setting(Rung.B, cable=CableCode.A13), 1.0)
    assert careless.duty_percent() == pytest.approx(32 / 0.6, abs=0.1)


def test_another_set_current_comes_at_its_time(bench: Callable[..., Bench]) -> None:
    at = bench("duty_lag_s=0.5")
    at.present(B, 1.0)
    assert at.duty_percent() == pytest.approx(16 / 0.6, abs=0.1)
    tick = at.process.pins()["tick"] + TICKS_PER_SECOND
    at.process.command(f"at {tick} set set_a=10")
    at.session.listen(1.2)
    assert at.duty_percent() == pytest.approx(16 / 0.6, abs=0.1)
    at.session.listen(0.5)
    assert at.duty_percent() == pytest.approx(10 / 0.6, abs=0.1)


def test_a_charger_without_supply_is_dead_and_comes_back(bench: Callable[..., Bench]) -> None:
    at = bench("close_s=0.2")
    at.present(C, 1.5)
    assert at.live
    since = len(at.session.heard)
    at.process.command("restart 0.5")
    at.session.event(EventKind.MAINS_OFF, since=since)
    assert at.process.pins()["pilot_v"] == pytest.approx(0.0, abs=0.01)
    at.session.listen(2.5)
    assert at.live, "the vehicle still asks"


@pytest.mark.parametrize(
    "line",
    ["set frequency_hz=0", "set colour=red", "at 5", "interlock ajar", "advance 30000", "nonsense"],
)
def test_what_makes_no_sense_is_refused(bench: Callable[..., Bench], line: str) -> None:
    at = bench()
    with pytest.raises(Exception, match="cannot be|no trait|at TICK|interlock|advance|no such"):
        at.process.command(line)
    at.session.listen(0.1)
