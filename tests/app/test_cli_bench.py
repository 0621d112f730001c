"""``rungbench bench``: ports, places, and what a bench is."""

import json
from collections.abc import Callable

import pytest

from rungbench.cli import bench
from rungbench.cli.main import run
from rungbench.link.port import PortInfo
from rungbench.paths import paths

Call = Callable[..., tuple[int, str, str]]


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Call:
    monkeypatch.setenv("COLUMNS", "200")

    def calling(*words: str) -> tuple[int, str, str]:
        status = run(["bench", *words])
        output = capsys.readouterr()
        return int(status), output.out, output.err

    return calling


def test_ports(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    found = (PortInfo("/dev/ttyUSB7", "A board [x]", "USB VID:PID=1:2"),)
    monkeypatch.setattr(bench, "list_ports", lambda: found)
    assert call("ports") == (0, "/dev/ttyUSB7  A board [x]  USB VID:PID=1:2\n", "")
    status, out, _ = call("ports", "--json")
    assert json.loads(out)["ports"][0]["url"] == "/dev/ttyUSB7"
    assert status == 0


def test_no_port(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bench, "list_ports", lambda: ())
    status, out, _ = call("ports")
    assert status == 0
    assert "No serial port was found" in out


def test_places_and_settings(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNGBENCH_OPERATOR", "Somebody")
    status, out, _ = call("where")
    assert status == 0
    for place in (paths().archive, paths().demo_archive, paths().log_file, paths().plans):
        assert str(place) in out
    assert "Somebody  (RUNGBENCH_OPERATOR)" in out
    _, out, _ = call("where", "--json")
    plain = json.loads(out)
    assert plain["settings"]["operator"] == {"value": "Somebody", "from": "RUNGBENCH_OPERATOR"}
    assert plain["places"]["config_file"] == str(paths().config_file)


def test_show(call: Call) -> None:
    status, out, error = call("show", "--bench", "sim://sound")
    assert (status, error) == (0, "")
    for text in ("SIMULATED", "crystal", "open, B, C, D, short", "interlock", "SIMULATED-1"):
        assert text in out
    _, out, _ = call("show", "--bench", "sim://sound", "--json")
    plain = json.loads(out)
    assert plain["schema"] == "rungbench.bench/1"
    assert plain["simulated"] is True
    assert plain["board"]["phases_sensed"] == 3
    assert plain["health"]["setting"] == "open"
    assert plain["health"]["interlock_closed"] is True
    assert plain["calibration"]["parts"]["permanent"]["value"] == 2740.0


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (("show",), 2, "No bench was chosen"),
        (("show", "--bench", "/dev/none"), 4, "There is no port /dev/none"),
        (("show", "--bench", "sim://none"), 2, "no simulated bench"),
    ],
)
def test_refusals(words: tuple[str, ...], status: int, said: str, call: Call) -> None:
    found, out, error = call(*words)
    assert (found, out) == (status, "")
    assert said in error
    assert error.count("\n") == 1
