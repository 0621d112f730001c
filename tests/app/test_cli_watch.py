"""``rungbench watch``: readings, arming, and how the stand-in is left."""

import io
import signal
from collections.abc import Callable

import pytest
from rich.console import Console

from pilotsignal.standard import Profile
from rungbench.cli.main import run
from rungbench.cli.watch import Reading, read, real_time
from rungbench.cli.watch_view import WatchView, page
from rungbench.qualify.bench import open_bench
from rungbench.qualify.safety import ALARM, Safety
from rungbench.standin.board import StandIn

Call = Callable[..., tuple[int, str, str]]
FAST = "sim://sound?speed=max"


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    def calling(*words: str) -> tuple[int, str, str]:
        status = run(["watch", *words])
        output = capsys.readouterr()
        return int(status), output.out, output.err

    return calling


def test_readings_on_b(call: Call) -> None:
    status, out, error = call("--bench", FAST, "--rung", "B", "--seconds", "3")
    assert (status, error) == (0, "")
    *readings, end = out.splitlines()
    assert len(readings) >= 5
    for line in readings[2:]:
        assert "  B  B2  " in line
        assert " Hz  " in line
        assert " A  mains none" in line
        assert "SIMULATED" in line
    assert end.startswith("left on open, outlet watched for 5")


def test_open_is_steady_and_never_left(call: Call) -> None:
    status, out, _ = call("--bench", FAST, "--seconds", "1")
    assert status == 0
    assert "  open  A1  12.0" in out
    assert "no-pwm" in out
    assert out.endswith("left on open\n")


@pytest.mark.parametrize("rung", ["C", "d"])
def test_energising_rungs_need_arming(rung: str, call: Call) -> None:
    status, out, error = call("--bench", FAST, "--rung", rung, "--seconds", "1")
    assert (status, out) == (2, "")
    assert f"Rung {rung.upper()} puts mains on the charger's outlet; add --arm" in error


def test_mains_is_shown_on_c(call: Call) -> None:
    status, out, _ = call("--bench", FAST, "--rung", "C", "--arm", "--seconds", "3")
    assert status == 0
    assert "C  ARMED  C2" in out
    assert "mains L1, L2, L3" in out


def test_a_live_outlet_afterwards_is_shouted(call: Call) -> None:
    status, out, _ = call("--bench", f"{FAST}&welded=yes", "--rung", "C", "--arm", "--seconds", "3")
    assert status == 1
    assert ALARM.upper() in out


def test_ctrl_c_ends_it_well(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    from rungbench.cli import watch

    shown: list[Reading] = []

    def reading(standin: StandIn, start_tick: int, profile: Profile | None) -> Reading:
        shown.append(read(standin, start_tick, profile))
        if len(shown) == 3:
            signal.raise_signal(signal.SIGINT)
        return shown[-1]

    monkeypatch.setattr(watch, "read", reading)
    status, out, error = call("--bench", FAST, "--rung", "B")
    assert (status, error) == (0, "")
    assert len(shown) == 3
    assert "left on open, outlet watched" in out


def test_a_lost_link(call: Call) -> None:
    status, _, error = call("--bench", f"{FAST}&unplug_after_s=2", "--rung", "B")
    assert status == 4
    assert error.count("\n") == 1
    assert "USB" in error


@pytest.mark.parametrize(
    ("given", "used"),
    [
        ("sim://sound", "sim://sound?speed=1"),
        ("sim://sound?", "sim://sound?speed=1"),
        ("sim://sound?seed=2", "sim://sound?seed=2&speed=1"),
        ("sim://sound?speed=max", "sim://sound?speed=max"),
        ("/dev/ttyUSB0", "/dev/ttyUSB0"),
    ],
)
def test_a_simulated_bench_is_watched_in_real_time(given: str, used: str) -> None:
    assert real_time(given) == used


def test_no_bench_chosen(call: Call) -> None:
    status, out, error = call()
    assert (status, out) == (2, "")
    assert "No bench was chosen" in error


def test_table_of_a_terminal() -> None:
    with open_bench(f"{FAST}&frame_loss=0.05") as standin:
        reading = read(standin)
    screen = io.StringIO()
    console = Console(file=screen, force_terminal=True, width=100, color_system=None)
    console.print(page(reading))
    with WatchView(console) as view:
        view.show(reading)
    view.end(Safety("open", frozenset(), 0.0, "no link"))
    text = screen.getvalue()
    assert "High plateau" in text
    assert "Lost" in text
    assert "not connected" in text
    assert "SIMULATED" in text
    assert "no link" in text
