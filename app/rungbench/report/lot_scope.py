"""What the decision about a lot does not say."""

from typing import Final

from rungbench.lots.switching import FROM_MEMORY
from rungbench.qualify.scope import CANNOT_PROVE, CAUTIONS, NO_CERTIFICATION
from rungbench.report.lot_evidence import LotEvidence
from rungbench.report.sheet import Sheet
from rungbench.report.table import heading, paragraph

NOT_ABOUT_OTHERS: Final = (
    "This is a report of a sample of one lot, tested at the control-pilot contact. It says nothing "
    "certain about a unit that was not tested, and is no certificate, no type approval and no "
    "proof of electrical safety."
)
_RISK: Final = (
    "An accepted lot may still hold units that do not conform, and a rejected one may be good: the "
    "operating characteristic tells with which probability. It supposes that the sample was "
    "taken as it was drawn, and that the bench tells every unit rightly; the bench's own "
    "uncertainty is in the verdicts of the units and not in these probabilities."
)
_FIGURES: Final = (
    "Ppk, outliers and charts do not decide: they suppose a normal distribution and are shown to "
    "find a drift before it makes units fail."
)


def draw_lot_scope(sheet: Sheet, evidence: LotEvidence) -> None:
    """The section."""
    heading(sheet, "What is not proven, and cautions")
    paragraph(sheet, NOT_ABOUT_OTHERS)
    paragraph(sheet, _RISK)
    paragraph(sheet, _FIGURES)
    paragraph(sheet, f"No run at the pilot contact proves: {', '.join(CANNOT_PROVE)}.")
    advice = evidence.state.lot.advice
    asked = "no inspection" if advice.stopped else f"{advice.severity} inspection"
    paragraph(
        sheet,
        f"When the lot was made the switching rules asked for {asked}: {advice.why} {FROM_MEMORY}",
    )
    paragraph(sheet, NO_CERTIFICATION)
    for caution in CAUTIONS:
        paragraph(sheet, caution)
