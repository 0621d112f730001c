"""Budget rows of measurements: what is shared has one name, what is not has two."""

import numpy as np
import pytest
from pilot_waves import fine, pilot

from pilotsignal.budget import derive
from pilotsignal.calibration import CRYSTAL_50_PPM
from pilotsignal.capture import Capture
from pilotsignal.measure import measure
from pilotsignal.quantity import Quantity
from pilotsignal.synth import synthesise

SHARED = {"gain", "offset", "timebase", "unstated-timebase"}


def captured(state: str, seed: int) -> Capture:
    capture, _ = synthesise(pilot(state), fine(seed=seed))
    return capture


def present(quantity: Quantity | None) -> Quantity:
    assert quantity is not None
    return quantity


def ids(quantity: Quantity | None, kind: str = "") -> set[str]:
    return {row.id for row in present(quantity).rows if row.id.startswith(kind)}


def test_plateaus_share_gain_and_offset() -> None:
    first, second = measure(captured("A", 1)), measure(captured("B", 2))
    everything = [
        ids(m.quantities()[name])
        for m in (first, second)
        for name in ("high_plateau_v", "low_plateau_v")
    ]
    assert set.intersection(*everything) == {"gain@synthetic", "offset@synthetic"}


def test_noise_is_never_shared_between_captures() -> None:
    first, second = measure(captured("A", 1)), measure(captured("A", 2))
    for name, one in first.quantities().items():
        two = second.quantities()[name]
        if one is None or two is None:
            continue
        shared = ids(one) & ids(two)
        assert all(row.split("@")[0] in SHARED for row in shared), name


def test_the_same_capture_has_the_same_names() -> None:
    first, again = measure(captured("B", 1)), measure(captured("B", 1))
    assert first == again


def test_a_shared_offset_cancels_in_a_difference() -> None:
    first, second = measure(captured("A", 1)), measure(captured("B", 2))
    plateaus = [present(m.high_plateau_v) for m in (first, second)]
    difference = derive("drop_v", "V", "difference", lambda a, b: a - b, plateaus)
    rows = {row.id: row for row in difference.rows}
    assert rows["offset@synthetic"].sensitivity == pytest.approx(0.0, abs=1e-12)
    assert rows["gain@synthetic"].sensitivity == pytest.approx(difference.value, rel=1e-9)
    # The rest is 0.05 % of 3 V, and noise.
    assert difference.u < 0.003 < plateaus[0].u


def test_rows_add_up_to_the_uncertainty() -> None:
    """GUM 5.1.2: independent inputs add in squares."""
    for quantity in measure(captured("C", 3)).quantities().values():
        if quantity is not None:
            assert quantity.rows
            total = np.sqrt(sum(row.contribution**2 for row in quantity.rows))
            assert total == pytest.approx(quantity.u, rel=1e-6)
            assert len({row.id for row in quantity.rows}) == len(quantity.rows)
            largest = quantity.budget()[0]
            assert all(row.contribution <= largest.contribution for row in quantity.rows)


def test_the_clock_cancels_in_the_duty_and_stays_in_the_rest() -> None:
    plain = captured("B", 4)
    capture = Capture(
        plain.samples, plain.interval_s, "clock", plain.calibration, time_base=CRYSTAL_50_PPM
    )
    found = measure(capture)
    clock = {"timebase@crystal-50ppm"}
    assert ids(found.frequency_hz, "timebase") == clock
    assert ids(found.pulse_width_zero_us, "timebase") == clock
    assert ids(found.duty_percent, "timebase") == set()
    sources = [present(found.pulse_width_zero_us), present(found.frequency_hz)]
    made = derive("duty", "%", "product", lambda w, f: w * f * 1e-4, sources)
    clocks = [row.contribution for row in made.rows if row.id in clock]
    assert clocks == [pytest.approx(0.0, abs=1e-12)]
    assert made.value == pytest.approx(present(found.duty_percent).value, rel=1e-12)
    assert made.u == pytest.approx(present(found.duty_percent).u, rel=0.01)


def test_advertised_current_inherits_the_duty() -> None:
    found = measure(captured("B", 5))
    duty, current = present(found.duty_percent), present(found.advertised_current_a)
    # IEC 61851-1:2017 Table A.8: 0.6 A a percent from 10 to 85 %.
    assert current.value == pytest.approx(0.6 * duty.value)
    assert current.u == pytest.approx(0.6 * duty.u)
    assert ids(current) == ids(duty)


def test_quantities_survive_storage() -> None:
    for quantity in measure(captured("D", 6)).quantities().values():
        if quantity is not None:
            assert Quantity.from_dict(quantity.as_dict()) == quantity
