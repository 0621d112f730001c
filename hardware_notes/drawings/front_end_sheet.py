"""Sheet 2: from the pilot contact to converter and input capture; reference, dither, supplies."""

import symbols as sym
from sheet import Sheet
from symbols import Chip, Spot


def draw() -> Sheet:
    """The sheet."""
    sheet = Sheet("Sheet 2: front end, reference, check inputs (pins of the board)", 1420, 1000)
    _divider(sheet)
    _converter(sheet)
    _comparator(sheet)
    _reference(sheet)
    _dither(sheet)
    _checks(sheet)
    sheet.lines(
        (60, 960),
        (
            "No filter stands before the comparator or the converter: the only poles are those of "
            "front_end.md. VREF is 4.096 V, VHALF is half of it.",
            "C20 to C23 make the divider flat. Ground of this sheet is the PE contact of the plug. "
            "U20 runs on +5 V and -5 V, U21 on +5 V.",
        ),
    )
    return sheet


def _divider(sheet: Sheet) -> None:
    """Compensated divider with its clamps, and the buffer."""
    sym.flag(sheet, (60, 180), "CP", left=True)
    sheet.wire((60, 180), (90, 180))
    for number, x in enumerate((130, 230)):
        sheet.wire((x - 40, 180), (x - 30, 180))
        sheet.wire((x + 30, 180), (x + 40, 180))
        sym.resistor(Spot(sheet, x, 180), "", "")
        sheet.text((x, 205), f"R2{number}  365 k", "middle")
        sym.capacitor(Spot(sheet, x, 130), f"C2{number}", "47 pF")
    sheet.wire((170, 180), (190, 180))
    sheet.dot((90, 180), (180, 130), (180, 180), (270, 180))
    sheet.wire((90, 180), (90, 130), (100, 130))
    sheet.wire((160, 130), (200, 130))
    sheet.wire((180, 130), (180, 180))
    sheet.wire((260, 130), (270, 130), (270, 180))
    sheet.wire((270, 180), (560, 180))
    sym.resistor(Spot(sheet, 290, 250, 90), "R22", "274 k")
    sym.capacitor(Spot(sheet, 362, 250, 90), "C22", "39 pF")
    sym.capacitor(Spot(sheet, 434, 250, 90), "C23", "4..20 pF", trimmer=True)
    for x in (290, 362, 434):
        sheet.dot((x, 180))
        sheet.wire((x, 180), (x, 220))
        sym.earth(sheet, (x, 280))
    sheet.dot((545, 180))
    sym.supply(sheet, (545, 100), "+5 V")
    sym.diode(Spot(sheet, 545, 130, 270), "D20")
    sheet.wire((545, 160), (545, 220))
    sym.diode(Spot(sheet, 545, 250, 270))
    sym.below(sheet, (545, 280), "-5 V")
    sheet.wire((560, 180), (590, 180), (590, 185), (600, 185))
    sym.amplifier(sheet, (600, 200), "U20", "buffer")
    sheet.wire((600, 220), (585, 220), (585, 260), (700, 260), (700, 200), (670, 200))
    sheet.dot((700, 200))
    sheet.wire((700, 200), (760, 200))


def _converter(sheet: Sheet) -> None:
    """Pair, clamps, pin A0."""
    sheet.dot((760, 200))
    sheet.wire((760, 200), (760, 120), (790, 120))
    sym.resistor(Spot(sheet, 820, 120), "R23", "3.01 k")
    sheet.wire((850, 120), (1250, 120))
    sheet.dot((880, 120), (980, 120), (1100, 120))
    sheet.wire((880, 120), (880, 150))
    sym.resistor(Spot(sheet, 880, 180, 90), "R24", "3.01 k")
    sym.below(sheet, (880, 210), "VREF")
    sym.supply(sheet, (980, 55), "+5 V")
    sym.diode(Spot(sheet, 980, 85, 270), "D21", kind="schottky")
    sheet.wire((980, 115), (980, 140))
    sym.diode(Spot(sheet, 980, 170, 270), kind="schottky")
    sym.earth(sheet, (980, 200))
    sym.flag(sheet, (1250, 120), "A0 (pilot)")


def _comparator(sheet: Sheet) -> None:
    """Pair of its own, hysteresis, pin D8."""
    sheet.wire((760, 200), (760, 305), (790, 305))
    sym.resistor(Spot(sheet, 820, 305), "R25", "4.99 k")
    sheet.wire((850, 305), (1010, 305))
    sheet.dot((880, 305), (960, 305))
    sheet.wire((880, 305), (880, 335))
    sym.resistor(Spot(sheet, 880, 365, 90), "R26", "4.99 k")
    sheet.wire((880, 395), (880, 405))
    sym.below(sheet, (880, 400), "VREF")
    sym.amplifier(sheet, (1010, 320), "U21", "")
    sheet.wire((1010, 340), (990, 340), (990, 385))
    sym.below(sheet, (990, 385), "VHALF")
    sheet.wire((1080, 320), (1190, 320))
    sheet.dot((1140, 320))
    sheet.wire((1140, 320), (1140, 250), (1090, 250))
    sym.resistor(Spot(sheet, 1060, 250), "R27", "1.5 M")
    sheet.wire((1030, 250), (960, 250), (960, 305))
    sym.flag(sheet, (1190, 320), "D8 (HIGH above 0 V)")


def _reference(sheet: Sheet) -> None:
    """Reference, its half, temperature."""
    sym.supply(sheet, (90, 520), "+5 V")
    sheet.wire((90, 520), (90, 530), (110, 530))
    sym.resistor(Spot(sheet, 140, 530), "R28", "10")
    sheet.wire((170, 530), (240, 530))
    sheet.dot((190, 530))
    sheet.wire((190, 530), (190, 570))
    sym.capacitor(Spot(sheet, 190, 600, 90), "C24", "10 uF")
    sym.earth(sheet, (190, 630))
    Chip(sheet, 260, 510, 110, "U22 reference", ("IN",), ("OUT",)).draw()
    sheet.wire((315, 550), (315, 630))
    sym.earth(sheet, (315, 630))
    sheet.wire((390, 530), (840, 530))
    sheet.dot((440, 530), (520, 530), (740, 530))
    sym.supply(sheet, (440, 500), "VREF")
    sheet.wire((440, 500), (440, 530))
    sym.flag(sheet, (840, 530), "AREF")
    for x, top, lower in ((520, ("R29", "10 k"), ("R30", "10 k")), (740, ("R31", "10 k"), None)):
        sheet.wire((x, 530), (x, 550))
        sym.resistor(Spot(sheet, x, 580, 90), *top)
        sheet.wire((x, 610), (x, 660))
        sheet.dot((x, 635))
        if lower:
            sym.resistor(Spot(sheet, x, 690, 90), *lower)
        else:
            sym.varying(Spot(sheet, x, 690, 90), "RT1", "10 k", "t")
        sym.earth(sheet, (x, 720))
    sheet.wire((520, 635), (600, 635))
    sheet.dot((580, 635))
    sheet.wire((580, 635), (580, 660))
    sym.capacitor(Spot(sheet, 580, 690, 90), "C25", "100 nF")
    sym.earth(sheet, (580, 720))
    sym.flag(sheet, (600, 635), "A2, VHALF")
    sheet.wire((740, 635), (840, 635))
    sym.flag(sheet, (840, 635), "A3 (temperature)")


def _dither(sheet: Sheet) -> None:
    """Triangle from an oscillator into the converter's pair."""
    sym.supply(sheet, (930, 470), "VREF")
    sheet.wire((930, 470), (930, 490), (950, 490))
    sym.resistor(Spot(sheet, 980, 490), "R35", "100")
    sheet.wire((1010, 490), (1080, 490))
    sheet.dot((1040, 490))
    sheet.wire((1040, 490), (1040, 520))
    sym.capacitor(Spot(sheet, 1040, 550, 90), "C30", "1 uF")
    sym.earth(sheet, (1040, 580))
    Chip(sheet, 1100, 470, 130, "U23 oscillator", ("supply", "", ""), ("out", "timing", "")).draw()
    sheet.wire((1165, 570), (1165, 590))
    sym.earth(sheet, (1165, 590))
    sheet.wire((1250, 490), (1300, 490))
    sym.resistor(Spot(sheet, 1300, 520, 90), "", "")
    sheet.lines((1316, 516), ("R34", "18 k"))
    sheet.wire((1250, 520), (1270, 520), (1270, 560), (1300, 560), (1300, 550))
    sheet.dot((1300, 560))
    sheet.wire((1300, 560), (1300, 590))
    sym.capacitor(Spot(sheet, 1300, 620, 90), "C27", "4.7 nF")
    sym.earth(sheet, (1300, 650))
    sheet.wire((1300, 560), (1385, 560), (1385, 170), (1190, 170))
    sym.resistor(Spot(sheet, 1160, 170), "", "")
    sheet.text((1160, 195), "R33  261 k", "middle")
    sheet.wire((1130, 170), (1100, 170), (1100, 120))


def _checks(sheet: Sheet) -> None:
    """Check ramp and the negative supply."""
    sym.flag(sheet, (100, 830), "D9", left=True)
    sheet.wire((100, 830), (140, 830))
    sym.resistor(Spot(sheet, 170, 830), "R32", "30 k")
    sheet.wire((200, 830), (310, 830))
    sheet.dot((250, 830))
    sheet.wire((250, 830), (250, 840))
    sym.capacitor(Spot(sheet, 250, 870, 90), "C26", "100 nF")
    sym.earth(sheet, (250, 900))
    sym.flag(sheet, (310, 830), "A1 (check ramp)")
    sym.supply(sheet, (800, 790), "+5 V")
    sheet.wire((800, 790), (800, 830), (820, 830))
    Chip(sheet, 840, 810, 130, "U24 inverter", ("IN",), ("OUT",)).draw()
    sheet.wire((990, 830), (1130, 830))
    sheet.dot((1040, 830))
    sym.capacitor(Spot(sheet, 1040, 870, 90), "C29", "10 uF")
    sheet.wire((1040, 830), (1040, 840))
    sym.earth(sheet, (1040, 900))
    sym.flag(sheet, (1130, 830), "-5 V (C28 is the flying one)")
