"""Sheet 3: one mains sense of three."""

import mains_values as values
import symbols as sym
from sheet import Sheet
from symbols import Spot


def draw() -> Sheet:
    """The sheet."""
    sheet = Sheet("Sheet 3: mains sense, one of three (L1 drawn; L2 and L3 are alike)", 1420, 820)
    _leads(sheet)
    _burden(sheet)
    _lamp(sheet)
    _board_side(sheet)
    sheet.barrier((1060, 54), (1060, 640))
    sheet.text((1050, 68), "MAINS SIDE", "end", 14)
    sheet.text((1072, 68), "BOARD SIDE", "start", 14)
    sheet.lines(
        (60, 690),
        (
            "DANGER: all left of the broken line is live while the outlet is live.",
            "It lies covered in a room of its own, 8 mm of air and surface to the board side.",
            "A sense lies between a phase and N and never touches PE.",
            "Z40 and Z41 set the threshold; Q40 is a current sink that swallows leakage.",
            "F30 of N and the lead of N are common to the three senses. R42 is set at build.",
            "A sense with an open fuse says: no mains. Prove dead with a voltage tester.",
        ),
    )
    return sheet


def _leads(sheet: Sheet) -> None:
    """Contacts, fuses, varistor."""
    sym.contact(sheet, (70, 150), "L1")
    sym.contact(sheet, (70, 560), "N")
    for y in (150, 560):
        sheet.wire((100, y), (110, y))
        sym.fuse(Spot(sheet, 140, y), "F30", "1 A")
    sheet.wire((170, 150), (250, 150))
    sheet.dot((220, 150), (220, 560))
    sheet.wire((220, 150), (220, 320))
    sym.varying(Spot(sheet, 220, 350, 90), "RV30", "300 V", "U")
    sheet.wire((220, 380), (220, 560))
    sym.fuse(Spot(sheet, 280, 150), "F31", "40 mA")
    sheet.wire((310, 150), (340, 150))
    sheet.dot((340, 150))
    sheet.wire((170, 560), (930, 560))


def _burden(sheet: Sheet) -> None:
    """Series resistors, rectifier, sink."""
    part = f"{values.SERIES_OHM / values.SERIES_PARTS:g}"
    sheet.wire((340, 150), (340, 180))
    sym.resistor(Spot(sheet, 340, 210, 90), "R40", part)
    sym.resistor(Spot(sheet, 340, 270, 90), "R41", part)
    sheet.wire((340, 300), (340, 380), (430, 380))
    sheet.wire((500, 380), (560, 380), (560, 560))
    sheet.dot((560, 560))
    # The bridge: four diodes between the two rails.
    for x, y in ((430, 350), (500, 350), (430, 410), (500, 410)):
        sym.diode(Spot(sheet, x, y, 270))
    sheet.wire((430, 320), (650, 320))
    sheet.wire((430, 440), (650, 440))
    sheet.dot((430, 380), (500, 320), (500, 440))
    sheet.dot((500, 380))
    sheet.text((465, 308), "D40", "middle")
    _sink(sheet)


def _sink(sheet: Sheet) -> None:
    """Depletion transistor with its source resistor, from (650, 320) to (650, 440)."""
    sheet.wire((650, 320), (650, 340), (632, 340))
    sheet.thin((632, 334), (632, 372))
    sheet.thin((624, 336), (624, 370))
    sheet.wire((632, 366), (650, 366), (650, 380))
    sheet.wire((624, 366), (605, 366), (605, 440))
    sheet.thin((632, 353), (642, 353))
    sheet.dot((605, 440))
    sym.resistor(Spot(sheet, 650, 410, 90), "R42", "set")
    sheet.text((662, 350), "Q40")


def _lamp(sheet: Sheet) -> None:
    """Resistors, threshold, light of the optocoupler."""
    sheet.box((935, 215), (260, 110))
    sheet.wire((340, 150), (470, 150))
    part = f"{values.LIMIT_PART_OHM / 1e3:g} k"
    for number, x in enumerate((500, 590, 680)):
        sym.resistor(Spot(sheet, x, 150), f"R4{3 + number}", part)
    for x in (530, 620):
        sheet.wire((x, 150), (x + 30, 150))
    sheet.wire((710, 150), (740, 150))
    sym.diode(Spot(sheet, 770, 150), "Z40", "22 V", kind="zener")
    sheet.wire((800, 150), (830, 150))
    sym.diode(Spot(sheet, 860, 150, 180), "Z41", "22 V", kind="zener")
    sheet.wire((890, 150), (990, 150), (990, 230))
    sheet.wire((990, 230), (965, 230), (965, 240))
    sheet.wire((990, 230), (1015, 230), (1015, 240))
    sheet.dot((990, 230))
    sym.diode(Spot(sheet, 965, 270, 90))
    sym.diode(Spot(sheet, 1015, 270, 270))
    sheet.wire((965, 300), (965, 310), (1015, 310), (1015, 300))
    sheet.wire((990, 310), (990, 560), (930, 560))
    sheet.dot((990, 310))


def _board_side(sheet: Sheet) -> None:
    """Transistor of the optocoupler, pull-up, pin."""
    for y in (262, 276):
        sheet.thin((1034, y), (1086, y))
        sheet.thin((1079, y - 4), (1086, y), (1079, y + 4))
    sheet.text((1195, 345), "U40", "end")
    sheet.thin((1110, 250), (1110, 290))
    sheet.wire((1110, 260), (1140, 240), (1140, 180))
    sheet.wire((1110, 280), (1140, 300), (1140, 380))
    sheet.thin((1133, 290), (1140, 300), (1128, 299))
    sym.earth(sheet, (1140, 380))
    sym.supply(sheet, (1140, 110), "+5 V")
    sym.resistor(Spot(sheet, 1140, 140, 90), "R46", "47 k")
    sheet.wire((1140, 170), (1140, 190))
    sheet.dot((1140, 190))
    sheet.wire((1140, 190), (1230, 190))
    sym.flag(sheet, (1230, 190), "D2 (L2: D3, L3: D4)")
    sheet.lines((1230, 215), ("LOW while it conducts,", "in both half waves"))
