"""Things drawn on more than one page: QR code, banner of simulated runs, foot of a page."""

from typing import Final

from rungbench.report.digest import code_size, code_squares
from rungbench.report.lines import FAINT, INK, Style, one_line
from rungbench.report.sheet import A4, LEFT, RIGHT, WIDTH, Page, plain

SIMULATED: Final = "SIMULATED"
_SIMULATED_SENTENCE: Final = (
    "SIMULATED  ·  demonstration on a simulated bench, no charger was tested"
)
_CODED: Final = (
    "Characters shown as codes (such as \\u0627 or \\x1b) have no glyph here, would steer the "
    "text, or run from right to left; the JSON export holds them."
)


def draw_code(page: Page, text: str, corner: tuple[float, float], side: float) -> None:
    """The QR code of `text` in a square whose lower left corner is given."""
    module = side / code_size(text)
    x, y = corner
    for row, column, length in code_squares(text):
        size = (length * module, module)
        page.box(x + column * module, y + side - (row + 1) * module, size, fill="#000000")


def draw_banner(page: Page) -> None:
    """The word SIMULATED across the top of a page."""
    y = A4[1] - 34.0
    page.box(0.0, y, (A4[0], 16.0), fill="#f0e442")
    page.centred_text(0.5 * A4[0], y + 4.6, plain(_SIMULATED_SENTENCE, 9.0, bold=True))


def draw_foot(page: Page, left: str, number: int, count: int) -> None:
    """What page it is, of what; and why some characters look like codes, where they do."""
    y = 28.0
    page.rule(LEFT, y + 9.0, (RIGHT, y + 9.0), stroke=INK, thin=0.4)
    right = plain(f"page {number} of {count}", 7.0, colour=FAINT)
    room = WIDTH - right.width - 12.0
    page.text(LEFT, y, one_line(left, room, Style(7.0, colour=FAINT)))
    page.right_text(RIGHT, y, right)
    if page.coded:
        page.text(LEFT, y - 9.0, plain(_CODED, 6.2, colour=FAINT))
