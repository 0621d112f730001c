"""From the board's messages to what is drawn and what is measured; no Qt, no waiting."""

from collections import Counter
from typing import Final

import numpy as np

from pilotsignal.errors import CaptureError
from rungbench.acquire import Loss, LossKind
from rungbench.desktop.snapshots import Floats, Sampled, Stretch
from rungbench.link.messages import (
    Channel,
    EdgeBlock,
    Event,
    FromBoard,
    Identity,
    SampleBlock,
)
from rungbench.link.words import TICK_S, EventKind, Mode, Setting
from rungbench.standin.calibration import BenchCalibration
from rungbench.standin.record import Losses
from rungbench.standin.recorder import Recorder

SAMPLED_S: Final = 0.5
"""How much is measured at a time."""

EVERY_S: Final = 1.0
_SETTLE_S: Final = 0.1
_KEPT_RISES: Final = 64
_PAUSE_S: Final = 0.02  # without edges for so long there are no pulses


class Gatherer:
    """Takes every message; hands out stretches for drawing and, once a second, one to measure."""

    def __init__(self, identity: Identity, calibration: BenchCalibration) -> None:
        self._identity, self._calibration = identity, calibration
        self._origin = f"board {identity.board_id}"
        self._samples: list[SampleBlock] = []
        self._edge_s: Floats = np.zeros(0)
        self._rising: np.ndarray = np.zeros(0, dtype=np.bool_)
        self._rises: Floats = np.zeros(0)
        self._period_s: float | None = None
        self._marks: list[tuple[float, str]] = []
        self._losses: Counter[LossKind] = Counter()
        self._recorder: Recorder | None = None
        self._setting: Setting | None = None
        self._sampled_tick = 0

    # In ---------------------------------------------------------------------------------------

    def take(self, message: FromBoard | Loss) -> None:
        """One message or loss, in the order of arrival."""
        match message:
            case Loss():
                self._losses[message.kind] += message.count
                return
            case SampleBlock() if message.channel == Channel.PILOT:
                self._samples.append(message)
            case EdgeBlock() if message.offsets.size:
                self._take_edges(message)
            case Event():
                self._take_event(message)
            case _:
                pass
        if self._recorder is not None:
            self._recorder.take(message)

    def restart(self) -> None:
        """What was begun is not measured: the setting or the sampling changed."""
        self._recorder = None

    def _take_edges(self, block: EdgeBlock) -> None:
        self._edge_s = np.concatenate([self._edge_s, block.times * TICK_S])
        self._rising = np.concatenate([self._rising, block.rising])

    def _take_event(self, event: Event) -> None:
        match event.kind:
            case EventKind.SETTING_APPLIED:
                text = event.setting.text()
                self.restart()
            case EventKind.MAINS_ON:
                text = f"L{event.phase} on"
            case EventKind.MAINS_OFF:
                text = f"L{event.phase} off"
            case EventKind.FELL_OPEN:
                text = "fell open"
            case _:
                return
        self._marks.append((event.tick * TICK_S, text))

    # Out --------------------------------------------------------------------------------------

    def stretch(self, at_s: float) -> Stretch:
        """What is new since the last call."""
        blocks, self._samples = self._samples, []
        marks, self._marks = tuple(self._marks), []
        begin, duty = self._pulses(at_s)
        return Stretch(
            samples_s=_frozen(_joined([_times(block) for block in blocks])),
            volts=_frozen(_joined([self._volts(block) for block in blocks])),
            pulses_s=_frozen(begin),
            duty_percent=_frozen(duty),
            rises_s=_frozen(self._rises.copy()),
            period_s=self._period_s,
            marks=marks,
        )

    def _pulses(self, at_s: float) -> tuple[Floats, Floats]:
        """Whole pulses among the edges; what is left waits for the next edges."""
        times, rising = self._edge_s, self._rising
        if times.size and not rising[0]:
            times, rising = times[1:], rising[1:]
        rises, falls = times[rising], times[~rising]
        whole = min(rises.size - 1, falls.size)
        if whole < 1:
            if times.size and at_s - times[-1] > _PAUSE_S:
                self._edge_s, self._rising = np.zeros(0), np.zeros(0, dtype=np.bool_)
            if self._rises.size and at_s - self._rises[-1] > _PAUSE_S and not times.size:
                self._rises, self._period_s = np.zeros(0), None
            return np.zeros(0), np.zeros(0)
        self._edge_s, self._rising = times[2 * whole :], rising[2 * whole :]
        periods = np.diff(rises)[:whole]
        usual = (periods > 0.0) & (periods < _PAUSE_S)
        self._rises = np.concatenate([self._rises, rises[: whole + 1]])[-_KEPT_RISES:]
        self._rises = np.unique(self._rises)
        if usual.any():
            self._period_s = float(np.median(periods[usual]))
        duty = 100.0 * (falls[:whole] - rises[:whole])[usual] / periods[usual]
        return rises[:whole][usual], duty

    def sampled(self, setting: Setting, mode: Mode, now_tick: int) -> Sampled | None:
        """A stretch to measure, when one is whole and the last was long enough ago."""
        if self._recorder is None or setting != self._setting:
            self._begin(setting, now_tick + round(_SETTLE_S / TICK_S))
            return None
        recorder = self._recorder
        if (now_tick - recorder.start_tick) * TICK_S < SAMPLED_S:
            return None
        self._begin(setting, max(now_tick, self._sampled_tick + round(EVERY_S / TICK_S)))
        self._sampled_tick = now_tick
        return self._whole(recorder, setting, mode, now_tick)

    def _begin(self, setting: Setting, tick: int) -> None:
        self._setting = setting
        quantum = self._identity.edge_quantum_ticks
        self._recorder = Recorder(self._origin, tick, str(setting.rung), quantum)

    def _whole(
        self, recorder: Recorder, setting: Setting, mode: Mode, now_tick: int
    ) -> Sampled | None:
        counts, self._losses = self._losses, Counter()
        try:
            capture, samples = recorder.capture(self._calibration)
            edges, missing = recorder.edge_record(self._calibration, now_tick)
        except CaptureError:
            return None
        if capture is None:
            return None
        losses = Losses(
            frames_lost=counts[LossKind.LOST],
            frames_damaged=counts[LossKind.DAMAGED] + counts[LossKind.NONSENSE],
            frames_reordered=counts[LossKind.REORDERED],
            queue_overflow=counts[LossKind.OVERFLOW],
            samples_missing=samples,
            edges_missing=missing,
        )
        usable = edges if edges.times.size > 1 else None
        return Sampled(capture, usable, setting, mode, losses, now_tick * TICK_S)

    def _volts(self, block: SampleBlock) -> Floats:
        line = self._calibration.volts_for(block.bits)
        return block.counts.astype(np.float64) * line.gain_v + line.offset_v


def _times(block: SampleBlock) -> Floats:
    ticks = block.tick + block.interval_ticks * np.arange(block.counts.size, dtype=np.float64)
    return ticks * TICK_S


def _joined(parts: list[Floats]) -> Floats:
    return np.concatenate(parts) if parts else np.zeros(0)


def _frozen(values: Floats) -> Floats:
    values.flags.writeable = False
    return values
