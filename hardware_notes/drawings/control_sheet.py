"""Sheet 4: board, relay registers, enable, interlock, supplies."""

import standin_design as design
import symbols as sym
from sheet import Sheet
from symbols import Chip, Spot

_BOARD_RIGHT = (
    "D6 heartbeat",
    "RESET",
    "D7 enable sense",
    "D10 latch",
    "D11 data out",
    "D13 clock",
    "D12 read-back",
    "",
    "A4 armed lamp",
    "",
    "D5 interlock",
)
_BOARD_LEFT = ("USB", "5V", "GND", "", "D2..D4", "D8", "D9", "A0..A3", "AREF", "", "A5 energise")


def draw() -> Sheet:
    """The sheet."""
    sheet = Sheet("Sheet 4: board, relay registers, enable, interlock, supplies", 1500, 1080)
    board = Chip(sheet, 300, 130, 190, "U50 board", _BOARD_LEFT, _BOARD_RIGHT)
    board.draw()
    _left(sheet, board)
    _pump(sheet, board)
    _registers(sheet, board)
    _coil(sheet)
    _inputs(sheet, board)
    _energise(sheet, board)
    sheet.lines(
        (60, 1020),
        (
            "Enable: G1 gives LOW only while RESET is HIGH and the charge pump is charged.",
            "The pump decays within 50 ms after the last edge of D6. R52 holds it off without G1.",
            "Bit 23 is sent first and ends up in U53; bit n drives relay Kn. Each coil has a D52.",
            "Unused gate inputs of U54 lie on ground. A5 is LOW while an output of K3..K8 is on.",
        ),
    )
    return sheet


def _left(sheet: Sheet, board: Chip) -> None:
    """USB isolation, supplies, connections to other sheets."""
    Chip(sheet, 90, 130, 130, "G51 USB isolator", ("", ""), ("USB", "5 V")).draw()
    sheet.wire((240, 150), (280, 150))
    sheet.wire((240, 180), (280, 180))
    sheet.wire((280, 210), (250, 210), (250, 225))
    sym.earth(sheet, (250, 225))
    sheet.barrier((155, 130), (155, 240))
    sheet.lines((20, 150), ("to the PC",))
    sheet.text((150, 258), "reinforced insulation", "middle")
    for row in range(4, 9):
        sym.flag(sheet, board.left_pin(row), "sheet 3" if row == 4 else "sheet 2", left=True)
    Chip(sheet, 90, 560, 130, "G50 adapter 12 V", ("", ""), ("+", "-")).draw()
    sheet.barrier((155, 560), (155, 670))
    sheet.text((150, 688), "reinforced insulation", "middle")
    sheet.wire((240, 580), (260, 580))
    sym.fuse(Spot(sheet, 290, 580), "F50", "315 mA")
    sheet.wire((320, 580), (400, 580))
    sym.supply(sheet, (400, 580), "+12 V, relays")
    sheet.wire((240, 610), (260, 610), (260, 625))
    sym.earth(sheet, (260, 625))
    sheet.text((20, 595), "mains")


def _gate(sheet: Sheet, corner: tuple[float, float], name: str) -> None:
    """A NAND with Schmitt inputs: inputs at y + 15 and y + 45, output at y + 30, x + 68."""
    x, y = corner
    sheet.box((x, y), (60, 60))
    sheet.text((x + 30, y + 18), "&", "middle", 15)
    sheet.thin((x + 20, y + 46), (x + 28, y + 46), (x + 28, y + 30), (x + 40, y + 30))
    sheet.thin((x + 24, y + 46), (x + 32, y + 46), (x + 32, y + 30))
    sheet.circle((x + 64, y + 30), 4)
    sheet.text((x + 30, y - 6), name, "middle")


def _pump(sheet: Sheet, board: Chip) -> None:
    """Charge pump, both gates, sense of the enable."""
    y = board.right_pin(0)[1]
    sheet.wire(board.right_pin(0), (530, y))
    sym.resistor(Spot(sheet, 560, y), "R51", "330")
    sym.capacitor(Spot(sheet, 630, y), "C50", "100 nF")
    sheet.wire((590, y), (600, y))
    sheet.wire((660, y), (710, y))
    sheet.dot((690, y))
    sheet.wire((690, y), (690, y + 20))
    sym.diode(Spot(sheet, 690, y + 50, 270), "D50", kind="schottky")
    sym.earth(sheet, (690, y + 80))
    sym.diode(Spot(sheet, 740, y), "D51", kind="schottky")
    sheet.wire((770, y), (930, y))
    for x, draw in ((795, "C51"), (872, "R50")):
        sheet.dot((x, y))
        sheet.wire((x, y), (x, y + 20))
        spot = Spot(sheet, x, y + 50, 90)
        if draw == "C51":
            sym.capacitor(spot, draw, "100 nF")
        else:
            sym.resistor(spot, draw, "220 k")
        sym.earth(sheet, (x, y + 80))
    _gate(sheet, (960, y - 15), "U54 G1")
    sheet.wire((930, y), (960, y))
    sheet.wire(board.right_pin(1), (650, 180), (650, 300), (935, 300), (935, y + 30), (960, y + 30))
    sheet.wire((1028, y + 15), (1260, y + 15))
    sym.flag(sheet, (1260, y + 15), "to U51..U53")
    sheet.text((1130, y + 8), "/OE", "middle")
    sheet.dot((1070, y + 15), (1200, y + 15))
    sym.supply(sheet, (1200, y - 50), "+5 V")
    sym.resistor(Spot(sheet, 1200, y - 15, 90), "R52", "10 k")
    sheet.wire((1200, y - 50), (1200, y - 45))
    _gate(sheet, (1010, 320), "U54 G2")
    sheet.wire((1070, y + 15), (1070, 280), (990, 280), (990, 335), (1010, 335))
    sheet.wire((990, 335), (990, 365), (1010, 365))
    sheet.dot((990, 335))
    sheet.wire((1078, 350), (1100, 350), (1100, 400), (610, 400), (610, 210), board.right_pin(2))


def _registers(sheet: Sheet, board: Chip) -> None:
    """Three registers in a chain and their lines."""
    chain = [
        Chip(
            sheet,
            690 + 240 * number,
            470,
            130,
            f"U5{number + 1}: bits {8 * number}..{8 * number + 7}",
            ("data", "clock", "latch", "/OE", "/clear"),
            ("next", "", "8 outputs", "", ""),
        )
        for number in range(3)
    ]
    for chip in chain:
        chip.draw()
    for first, second in zip(chain, chain[1:], strict=False):
        sheet.wire(first.right_pin(0), second.left_pin(0))
    rows = {"clock": (1, 700), "latch": (2, 725), "oe": (3, 750), "clear": (4, 775)}
    for name, (row, y) in rows.items():
        last = chain[-1].left_pin(row)
        offset = {"clock": 0, "latch": 10, "oe": 20, "clear": 30}[name]
        for chip in chain:
            x, top = chip.left_pin(row)
            sheet.wire((x, top), (x - 5 - offset, top), (x - 5 - offset, y))
            if chip is not chain[-1]:
                sheet.dot((x - 5 - offset, y))
        start = 540 if name in ("clock", "latch") else 600
        sheet.wire((start, y), (last[0] - 5 - offset, y))
        words = {"clock": "D13", "latch": "D10", "oe": "/OE of G1", "clear": "RESET"}[name]
        sym.flag(sheet, (start, y), words, left=True)
    sheet.wire((650, 490), (670, 490))
    sym.flag(sheet, (650, 490), "D11", left=True)
    sheet.wire(chain[-1].right_pin(0), (1380, 490))
    sym.flag(sheet, (1380, 490), "D12")
    for row, words in ((3, "latch"), (4, "data"), (5, "clock"), (6, "read-back")):
        sym.flag(sheet, board.right_pin(row), words)


def _coil(sheet: Sheet) -> None:
    """One coil of seventeen with its diode and the common clamp."""
    x = 1400
    sym.supply(sheet, (x, 620), "+12 V")
    sheet.wire((x, 620), (x, 650))
    sym.coil(Spot(sheet, x, 680, 90), "Kn", f"{design.COIL_OHM:g}")
    sheet.wire((x, 710), (x, 740), (1330, 740), (1330, 550), (1320, 550))
    sheet.dot((x, 740))
    sheet.wire((x, 740), (x, 750))
    sym.diode(Spot(sheet, x, 780, 90), "D52")
    sheet.wire((x, 810), (x, 830))
    sheet.text((x + 10, 836), "clamp rail")
    sym.suppressor(Spot(sheet, x, 880, 90), "TV50", "15 V")
    sheet.wire((x, 830), (x, 850))
    sym.supply(sheet, (1320, 860), "+12 V")
    sheet.wire((x, 910), (x, 925), (1320, 925), (1320, 860))


def _energise(sheet: Sheet, board: Chip) -> None:
    """Sense of the outputs that drive a switched resistor, whatever the registers say."""
    y = 1010
    sym.flag(sheet, board.left_pin(10), "energise", left=True)
    sym.flag(sheet, (1040, y), "A5", left=True)
    sheet.wire((1040, y), (1140, y))
    sheet.dot((1090, y))
    sym.supply(sheet, (1090, y - 70), "+5 V")
    sheet.wire((1090, y - 70), (1090, y - 65))
    sym.resistor(Spot(sheet, 1090, y - 35, 90), "R59", "10 k")
    sheet.wire((1090, y - 5), (1090, y))
    sym.diode(Spot(sheet, 1170, y), "D53 x 6")
    sheet.wire((1200, y), (1220, y))
    sym.flag(sheet, (1220, y), "outputs of K3..K8, one each")


def _inputs(sheet: Sheet, board: Chip) -> None:
    """Lamp, interlock, pull-downs."""
    sym.flag(sheet, board.right_pin(8), "lamp")
    sym.flag(sheet, board.right_pin(10), "interlock")
    sym.flag(sheet, (100, 735), "A4", left=True)
    sheet.wire((100, 735), (110, 735))
    sym.resistor(Spot(sheet, 140, 735), "R53", "1 k")
    sheet.wire((170, 735), (190, 735))
    sym.diode(Spot(sheet, 220, 735), kind="light")
    sheet.text((220, 760), "H1 armed", "middle")
    sheet.wire((250, 735), (270, 735))
    sym.earth(sheet, (270, 735))
    sym.flag(sheet, (100, 900), "D5", left=True)
    sheet.wire((100, 900), (150, 900))
    sheet.dot((130, 900))
    sym.capacitor(Spot(sheet, 130, 940, 90), "C52", "100 nF")
    sheet.wire((130, 900), (130, 910))
    sym.earth(sheet, (130, 970))
    sym.resistor(Spot(sheet, 210, 900), "R55", "1 k")
    sheet.wire((150, 900), (180, 900))
    sheet.wire((240, 900), (320, 900))
    sheet.dot((280, 900))
    sym.supply(sheet, (280, 830), "+5 V")
    sym.resistor(Spot(sheet, 280, 865, 90), "R54", "1 k")
    sheet.wire((280, 830), (280, 835))
    sheet.wire((280, 895), (280, 900))
    sym.break_contact(Spot(sheet, 350, 900), "")
    sheet.lines((445, 905), ("S1: auxiliary contact of the", "emergency stop, not pressed"))
    sheet.wire((380, 900), (420, 900))
    sym.earth(sheet, (420, 900))
    for number, words in enumerate(("D11", "D13", "D10")):
        x = 760 + 130 * number
        sym.flag(sheet, (x - 30, 880), words, left=True)
        sheet.wire((x - 30, 880), (x, 880))
        sym.resistor(Spot(sheet, x, 910, 90), f"R5{6 + number}", "10 k")
        sym.earth(sheet, (x, 940))
