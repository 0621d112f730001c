"""What a run leaves on paper: inspection report and hold slip, as files; no Qt."""

from dataclasses import dataclass
from pathlib import Path

from rungbench.archive.store import open_archive
from rungbench.desktop.preferences import Preferences
from rungbench.desktop.run_job import RunOutcome
from rungbench.desktop.run_slip import slip_of
from rungbench.paths import paths
from rungbench.report.evidence import Evidence
from rungbench.report.files import write_file
from rungbench.settings import Settings


@dataclass(frozen=True, slots=True)
class Papers:
    """Files that were written; `slip` only for a charger that did not pass."""

    report: Path
    slip: Path | None = None


def papers_folder(preferences: Preferences) -> Path:
    """Where reports and slips go: what the user chose, else a folder beside the archives."""
    chosen = preferences.get("run", "papers", "")
    return Path(chosen) if chosen else paths().reports


def write_papers(outcome: RunOutcome, folder: Path) -> Papers:
    """Write the report and, after anything but a pass, the hold slip as text.

    Raises
    ------
    RungbenchError : a file cannot be written.
    ArchiveError : the captures cannot be read.
    """
    # Late: what draws PDF takes half a second to load.
    from rungbench.report.pdf import report_pdf

    record = outcome.record
    with open_archive(outcome.archive, record.header.simulated, create=False) as archive:
        content = report_pdf([Evidence.of(record, archive.load_capture)])
    report = folder / f"rungbench-{record.run_id}.pdf"
    write_file(report, content)
    slip = slip_of(record, outcome.explanations)
    if slip is None:
        return Papers(report)
    return Papers(report, write_slip(slip.text(), folder / f"rungbench-{record.run_id}-hold.txt"))


def write_slip(text: str, file: Path) -> Path:
    """Write a hold slip as plain text; returns the file."""
    return write_file(file, text.encode("utf-8", "backslashreplace"))


def handed_over(outcome: RunOutcome, settings: Settings) -> str:
    """What the settings want after each run; returns what went wrong, or nothing."""
    from rungbench.report.handover import hand_over

    record = outcome.record
    with open_archive(outcome.archive, record.header.simulated, create=False) as archive:
        evidence = Evidence.of(record, archive.load_capture)
        return " ".join(hand_over(evidence, settings.after_run_folder, settings.after_run_command))
