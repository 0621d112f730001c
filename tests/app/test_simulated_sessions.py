"""How the simulated charger behaves over a session: offers withdrawn, faults, quick toggling.

What it should do follows IEC 61851-1:2017, Table A.6; the numbers are the keys' own.
"""

import numpy as np
import pytest
from simulated_run import NO_DIODE_C, SHORT, B, C, SimulatedRun, edges, simulated

from rungbench.link.messages import OPEN, Event, EventKind, Setting

TICKS = 16e6


def charging(run: SimulatedRun) -> None:
    run.present(B)
    run.listen(1.0)
    run.present(C)
    run.listen(1.5)
    assert live(run)


def seen(run: SimulatedRun, kind: EventKind) -> list[Event]:
    return [one for one in run.heard if isinstance(one, Event) and one.kind is kind]


def live(run: SimulatedRun) -> bool:
    on, off = seen(run, EventKind.MAINS_ON), seen(run, EventKind.MAINS_OFF)
    return bool(on) and (not off or on[-1].tick > off[-1].tick)


def withdrawn(run: SimulatedRun, wait_s: float) -> tuple[float, float | None]:
    """Tick of the last edge after the offer was withdrawn in C, and of the first phase off."""
    run.hand.change(offers="no")
    run.listen(wait_s)
    times, _ = edges(run.heard)
    off = seen(run, EventKind.MAINS_OFF)
    return float(times[-1]), float(off[0].tick) if off else None


@pytest.mark.parametrize("withdraw_s", [2.0, 7.0])
def test_a_withdrawn_offer_keeps_mains_for_a_while(withdraw_s: float) -> None:
    with simulated(f"withdraw_s={withdraw_s}") as run:
        charging(run)
        last, off = withdrawn(run, withdraw_s + 1.0)
        assert off is not None
        assert (off - last) / TICKS == pytest.approx(withdraw_s, abs=0.13)


def test_a_vehicle_that_leaves_c_hurries_it() -> None:
    with simulated("withdraw_s=20") as run:
        charging(run)
        withdrawn(run, 1.0)
        assert live(run)
        run.present(B)
        run.listen(0.5)
        assert not live(run)


def test_an_offer_may_come_back_by_itself() -> None:
    for key, pulses in (("", False), ("pwm_returns_s=1.5", True)):
        with simulated(key) as run:
            run.present(B)
            run.listen(1.0)
            run.hand.change(offers="no")
            run.listen(1.0)
            assert run.pulses(0.4) is None
            run.listen(1.0)
            assert (run.pulses(0.4) is not None) == pulses


def test_pulses_end_after_unplugging() -> None:
    ends = []
    for seconds in (0.1, 1.0):
        with simulated(f"pwm_off_s={seconds}") as run:
            run.present(B)
            run.listen(1.0)
            run.present(OPEN)
            run.listen(2.0)
            times, _ = edges(run.heard)
            ends.append(float(times[-1]) / TICKS)
    assert ends[1] - ends[0] == pytest.approx(0.9, abs=0.01)


def test_mains_at_five_percent_only_where_it_ignores_communication() -> None:
    for keys, mains in (("digital=yes", False), ("digital=yes&digital_mains=yes", True)):
        with simulated(keys) as run:
            run.present(B)
            run.listen(1.0)
            pulses = run.pulses()
            assert pulses is not None
            # IEC 61851-1:2017 Table A.7: 5 % asks for digital communication.
            assert pulses.duty_percent == pytest.approx(5.0, abs=0.05)
            run.present(C)
            run.listen(2.0)
            assert live(run) == mains


@pytest.mark.parametrize("fault", [SHORT, NO_DIODE_C])
def test_a_fault_may_latch_until_the_restart(fault: Setting) -> None:
    for keys, back in (("latches=no", True), ("latches=yes", False)):
        with simulated(keys) as run:
            charging(run)
            run.present(fault)
            run.listen(1.0)
            run.present(OPEN)
            run.listen(1.0)
            run.present(B)
            run.listen(1.0)
            assert (run.pulses(0.4) is not None) == back
            if not back:
                run.present(OPEN)
                run.hand.restart()
                run.listen(4.0)
                run.present(B)
                run.listen(1.0)
                assert run.pulses(0.4) is not None


def test_state_f_lasts_as_long_as_it_should() -> None:
    with simulated("f_ms=1000") as run:
        charging(run)
        run.present(NO_DIODE_C)
        run.listen(0.2)
        run.present(OPEN)
        volts = run.volts(2.0)
        # It began some 0.2 s before, when a vehicle without a diode held the low level up.
        assert np.mean(volts < -10.5) * 2.0 == pytest.approx(0.8, abs=0.15)


def test_quick_toggling_may_lose_the_session() -> None:
    for keys, kept in (("", True), ("toggle_s=1", False)):
        with simulated(keys) as run:
            charging(run)
            run.present(B)
            run.listen(0.3)
            run.present(C)
            run.listen(2.0)
            assert live(run) == kept


def test_leaving_c_without_an_offer_has_a_delay_of_its_own() -> None:
    with simulated("open_c1_ms=150&open_ms=20&withdraw_s=60") as run:
        charging(run)
        run.hand.change(offers="no")
        run.listen(1.0)
        off = run.mains_off_after(B, 1.0)
        assert max(off.values()) == pytest.approx(0.150, abs=0.006)


def test_a_charger_may_close_without_an_offer() -> None:
    for keys, mains in (("", False), ("mains_without_offer=yes", True)):
        with simulated(f"authorised=no&{keys}" if keys else "authorised=no") as run:
            run.present(B)
            run.listen(1.0)
            run.present(C)
            run.listen(2.0)
            assert run.pulses(0.4) is None
            assert live(run) == mains


def test_a_new_current_may_come_in_two_steps() -> None:
    with simulated("duty_step_s=2&duty_lag_s=1&rated_a=32") as run:
        run.present(B)
        run.listen(1.0)
        run.hand.set_current(16)
        widths = []
        for wait_s in (1.1, 0.8, 0.8):
            run.listen(wait_s)
            pulses = run.pulses(0.3)
            assert pulses is not None
            widths.append(float(np.mean(pulses.widths_us)))
        # IEC 61851-1:2017 Table A.7: 24 A is 40 %, 16 A is 26.67 %.
        assert widths == pytest.approx([400.0, 400.0, 266.7], abs=1.0)


def test_mains_may_come_back_after_unplugging() -> None:
    with simulated("mains_returns_s=1.5") as run:
        charging(run)
        run.present(OPEN)
        run.listen(1.0)
        assert not live(run)
        run.listen(1.0)
        assert live(run)


def test_a_restart_may_leave_mains_on() -> None:
    for keys, mains in (("", False), ("restart_mains=yes", True)):
        with simulated(keys) as run:
            run.hand.restart()
            run.listen(4.0)
            assert live(run) == mains


def test_fewer_phases_at_low_currents() -> None:
    with simulated("one_phase_below_a=10&duty_lag_s=1") as run:
        charging(run)
        run.hand.set_current(6)
        run.listen(8.0)
        on = [one.phase for one in seen(run, EventKind.MAINS_ON)]
        off = [one.phase for one in seen(run, EventKind.MAINS_OFF)]
        assert sorted(on[:3]) == sorted(off) == [1, 2, 3]
        assert on[3:] == [1], "it switched off, and only the first phase came back"


def test_a_slow_contact_lets_go_with_its_coil() -> None:
    """The third phase is still on its way when the vehicle leaves C: it never comes."""
    with simulated("late_on_s=2") as run:
        run.present(B)
        run.listen(1.0)
        run.present(C)
        run.listen(1.5)
        run.present(B)
        run.listen(3.0)
        assert {one.phase for one in seen(run, EventKind.MAINS_ON)} == {1, 2}
        assert not live(run)


def test_state_f_shows_at_the_comparator() -> None:
    """Its beginning and its end are edges as those of pulses are, whatever the ladder."""
    with simulated("f_ms=400") as run:
        charging(run)
        run.present(SHORT)
        run.listen(1.5)
        times, rising = edges(run.heard)
        lows = np.diff(times)[~rising[:-1]] / TICKS
        # Up to the low half of a pulse before it, 0.73 ms at 16 A.
        assert lows.max() == pytest.approx(0.4, abs=0.001)
