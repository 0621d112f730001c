"""The verdict of a run: word, shape, sentence; what failed, the best finding, what comes next."""

from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QBoxLayout, QFrame, QVBoxLayout

from rungbench.desktop.figures import localised
from rungbench.desktop.run_control import RunControl
from rungbench.desktop.run_job import RunOutcome
from rungbench.desktop.run_labels import PlainLabel
from rungbench.desktop.verdict_mark import VerdictMark
from rungbench.report.verdicts import meaning, troubled

_SENTENCES = 260  # the least width that they can be read in


class VerdictBand(QFrame):
    """Hidden while there is no verdict."""

    def __init__(self, control: RunControl, size: float = 3.2) -> None:
        super().__init__()
        theme = control.room.theme
        self._control = control
        self._mark = VerdictMark(theme, size)
        self._meaning = PlainLabel(theme, size=1.2)
        self._finding = PlainLabel(theme)
        self._where = PlainLabel(theme, size=0.9).colour("faint")
        text = QVBoxLayout()
        for label in (self._meaning, self._finding, self._where):
            text.addWidget(label)
        self._theme = theme
        self._layout = QBoxLayout(QBoxLayout.Direction.LeftToRight, self)
        self._layout.setContentsMargins(0, 0, 0, 0)
        self._layout.addWidget(self._mark)
        self._layout.addSpacing(theme.px(16))
        self._layout.addLayout(text, 1)
        self.hide()
        control.changed.connect(self.refresh)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The sentences beside the word, or below it where there is not the width."""
        super().resizeEvent(event)
        direction = QBoxLayout.Direction
        wide = event.size().width() >= self._mark.sizeHint().width() + self._theme.px(_SENTENCES)
        self._layout.setDirection(direction.LeftToRight if wide else direction.TopToBottom)

    def refresh(self) -> None:
        """Show the outcome, or nothing."""
        outcome = self._control.outcome
        self.setVisible(outcome is not None)
        if outcome is None:
            return
        record = outcome.record
        self._mark.show_verdict(record.verdict.value)
        self._meaning.setText(meaning_text(outcome))
        self._finding.setText(finding_text(outcome))
        self._finding.setVisible(bool(self._finding.text()))
        self._where.setText(f"Record {record.run_id} in {outcome.archive}")


def meaning_text(outcome: RunOutcome) -> str:
    """The verdict in a sentence, and how a run ended that was cut short."""
    record = outcome.record
    cut = f" Interrupted: {record.interrupted}" if record.interrupted else ""
    mark = "SIMULATED: no charger was tested. " if record.header.simulated else ""
    return f"{mark}{meaning(record.verdict)}{cut}"


def finding_text(outcome: RunOutcome) -> str:
    """The first check in trouble and the best finding; where a lot stands is told by its band."""
    lines = []
    worst = troubled(outcome.record)
    if worst and outcome.record.verdict != "pass":
        more = f" (and {len(worst) - 1} more)" if len(worst) > 1 else ""
        first = worst[0]
        lines.append(
            f"{first.verdict.value.capitalize()}: {first.title}. {localised(first.why)}{more}"
        )
    if outcome.explanations:
        best = outcome.explanations[0]
        cause = f"{best.cause[:1].upper()}{best.cause[1:]}"
        lines.append(localised(f"{cause} ({best.weight.name.lower()}). Next: {best.next}"))
    return "\n".join(lines)
