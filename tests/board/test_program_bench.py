"""``rungbench bench check`` on the firmware: what the board finds of itself."""

import json

import pytest
from board_simulator.process import SwitchOn
from board_simulator.protocol_board import at_address

from rungbench.cli.main import run


@pytest.mark.parametrize(
    # As designed; nearly where it turns by a quarter from sample to sample of burst10, and by half
    # of stream10; and beyond (hardware_notes/front_end.md, section 1).
    "dither_hz",
    [8527.0, 9610.0, 9700.0],
)
def test_bench_check_of_a_sound_board(
    switch_on: SwitchOn, capsys: pytest.CaptureFixture[str], dither_hz: float
) -> None:
    board = switch_on(f"dither_hz={dither_hz}", "noise_v=0.004")
    with at_address(board) as url:
        status = run(["bench", "check", "--bench", url, "--clock-s", "0", "--json"])
    lines = {one["line"]: one for one in json.loads(capsys.readouterr().out)["lines"]}
    verdicts = {name: one["verdict"] for name, one in lines.items()}
    shown = {"pilot contact": "observed", "board clock": "not run"}
    assert verdicts == dict.fromkeys(verdicts, "pass") | shown, verdicts
    assert status == 0
    # 0.57 steps of dither, 0.2 of the converter, 4 mV of the charger (a step is 29.3 mV).
    true = (0.57**2 + 0.2**2 + (0.004 / 0.0293) ** 2) ** 0.5
    assert lines["dither"]["figures"]["rms_counts"] == pytest.approx(true, abs=0.06)
    assert board.pins()["rung"] == "open"


def test_a_board_without_dither_hears_so(
    switch_on: SwitchOn, capsys: pytest.CaptureFixture[str]
) -> None:
    with at_address(switch_on("dither_steps=0.2")) as url:
        run(["bench", "check", "--bench", url, "--clock-s", "0"])
    assert "0.5 to 1 is wanted" in " ".join(capsys.readouterr().out.split())
