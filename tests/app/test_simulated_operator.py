"""A hand at the simulated bench: changes at a board time, and what cannot be changed."""

import numpy as np
import pytest
from simulated_run import B, C, simulated

from rungbench.errors import WrongUse
from rungbench.link.messages import TICKS_PER_SECOND, EventKind
from rungbench.link.port import open_port
from rungbench.simulated.operator import Operator, ticks


def test_a_change_happens_at_its_board_time() -> None:
    with simulated("voc_high_v=12&noise_v=0") as run:
        at = run.now + ticks(1.0)
        run.hand.change(at, voc_high_v=11.4)
        volts = run.volts(2.0)
        assert volts[0] == pytest.approx(11.99, abs=0.1)
        assert volts[-1] == pytest.approx(11.39, abs=0.1)
        changed_s = np.argmax(volts < 11.7) * 832 / TICKS_PER_SECOND
        assert changed_s == pytest.approx(1.0, abs=0.021)


def test_a_restart_takes_mains_away_and_begins_in_a() -> None:
    with simulated() as run:
        run.charge()
        since = len(run.heard)
        run.hand.restart(off_s=1.0)
        volts = run.volts(0.8)
        assert np.median(np.abs(volts[volts.size // 2 :])) < 0.1
        assert len(run.events(EventKind.MAINS_OFF, since)) == 3
        run.listen(1.5)
        assert run.pulses(0.5) is not None, "B is there when it wakes: it pulses again"
        run.listen(1.0)
        assert len(run.events(EventKind.MAINS_ON, since)) == 3


def test_welded_contacts_are_live_as_soon_as_the_supply_returns() -> None:
    with simulated("welded=yes") as run:
        run.charge()
        since = len(run.heard)
        at = run.now
        run.hand.restart(off_s=1.0)
        run.listen(2.0)
        back = run.events(EventKind.MAINS_ON, since)
        assert len(back) == 3
        assert (back[0].tick - at) / TICKS_PER_SECOND == pytest.approx(1.0, abs=0.12)


def test_pulses_can_change_their_frequency() -> None:
    with simulated() as run:
        run.present(B)
        run.listen(1.0)
        run.hand.change(frequency_hz=1010)
        run.listen(0.1)
        pulses = run.pulses()
        assert pulses is not None
        assert pulses.frequency_hz == pytest.approx(1010.0, rel=6e-5)
        assert np.ptp(pulses.periods_us) < 1.0


def test_a_port_of_the_link_leads_to_the_bench() -> None:
    port = open_port("sim://sound")
    Operator(port).set_current(10)
    port.close()


def test_an_unknown_key_or_value_is_refused() -> None:
    with simulated() as run:
        with pytest.raises(WrongUse, match="no key 'volume'"):
            run.hand.change(volume=11)
        with pytest.raises(WrongUse, match="set_a is a number from 3 to 80"):
            run.hand.set_current(200)
        with pytest.raises(WrongUse, match="seed cannot change"):
            run.hand.change(seed=4)


def test_a_real_port_has_no_operator() -> None:
    with pytest.raises(WrongUse, match="simulated bench"):
        Operator(object())


def test_an_interlock_pressed_in_c_takes_mains_away() -> None:
    with simulated() as run:
        run.charge()
        since = len(run.heard)
        run.hand.interlock(closed=False)
        run.listen(0.5)
        assert len(run.events(EventKind.FELL_OPEN, since)) == 1
        assert len(run.events(EventKind.MAINS_OFF, since)) == 3


def test_a_change_while_charging_leaves_mains_on() -> None:
    with simulated("rated_a=32&duty_lag_s=0.5") as run:
        run.charge()
        since = len(run.heard)
        run.hand.set_current(20)
        run.listen(2.0)
        pulses = run.pulses()
        assert pulses is not None
        # IEC 61851-1:2017 Table A.7: 20 A is 33.33 %.
        assert pulses.duty_percent == pytest.approx(33.33, abs=0.08)
        assert run.events(EventKind.MAINS_OFF, since) == []
        assert run.present(C).setting == C
