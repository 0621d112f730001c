"""Sheet 1: ladder, short, pilot capacitance, cable coding."""

import standin_design as design
import symbols as sym
from sheet import Sheet
from symbols import Spot

_ROLES = ("permanent", "C", "D")


def draw() -> Sheet:
    """The sheet."""
    sheet = Sheet("Sheet 1: ladder and cable coding (relay Kn is bit n of the word)", 1420, 960)
    _contact(sheet)
    _ladder(sheet)
    _proximity(sheet)
    sheet.lines(
        (60, 905),
        (
            "All relays are drawn without current: this is the setting open.",
            "PE is the contact of the charger's plug, and nothing else of the building. "
            "All grounds of the board meet there.",
            "Relay K11 opens the return of the ladder only: all else stays on PE.",
        ),
    )
    return sheet


def _down(sheet: Sheet, x: float, top: float, bottom: float) -> None:
    sheet.wire((x, top), (x, bottom))


def _contact(sheet: Sheet) -> None:
    """Pilot contact, fuse, suppressor, capacitors, short."""
    sym.contact(sheet, (70, 120), "CP")
    sheet.wire((100, 120), (140, 120))
    sheet.dot((120, 120))
    sheet.wire((120, 120), (120, 70), (150, 70))
    sym.flag(sheet, (150, 70), "CP to the front end (before the fuse)")
    sym.contact(sheet, (70, 260), "PE")
    sheet.wire((100, 260), (130, 260), (130, 330))
    sym.earth(sheet, (130, 330))
    sym.fuse(Spot(sheet, 170, 120), "F1", "500 mA")
    sheet.wire((200, 120), (610, 120))
    places = {"TV1": 240, "JP1": 330, "JP2": 420, "K9": 520}
    for x in places.values():
        sheet.dot((x, 120))
        _down(sheet, x, 120, 170)
    sym.suppressor(Spot(sheet, 240, 200, 90), "TV1", "15 V")
    _down(sheet, 240, 230, 330)
    for name, x, part, farad in (("JP1", 330, "C1", "JP1"), ("JP2", 420, "C2", "JP2")):
        sym.jumper(Spot(sheet, x, 200, 90), name)
        sym.capacitor(Spot(sheet, x, 270, 90), part, f"{design.JUMPER_F[farad] * 1e9:g} nF")
        _down(sheet, x, 230, 240)
        _down(sheet, x, 300, 330)
    sym.make_contact(Spot(sheet, 520, 200, 90), "K9")
    sym.resistor(Spot(sheet, 520, 270, 90), "R10", "80")
    _down(sheet, 520, 230, 240)
    _down(sheet, 520, 300, 330)
    for x in places.values():
        sym.earth(sheet, (x, 330))


def _ladder(sheet: Sheet) -> None:
    """Diode with its bypass, nine branches, return."""
    sheet.dot((570, 120), (690, 120))
    sym.diode(Spot(sheet, 640, 120), "", "")
    sheet.text((640, 145), "D1", "middle")
    sheet.wire((670, 120), (1356, 120))
    sheet.wire((570, 120), (570, 70), (610, 70))
    sym.make_contact(Spot(sheet, 640, 70), "K10 (bypass)")
    sheet.wire((670, 70), (690, 70), (690, 120))
    for number in range(9):
        role, which = _ROLES[number // 3], design.SETS[number % 3]
        part = design.LADDER[role][which]
        x = 620 + 92 * number
        top = 120 if x > 690 else 170
        if top == 120:
            sheet.dot((x, 120))
        _down(sheet, x, top, 210)
        sym.make_contact(Spot(sheet, x, 240, 90), f"K{number}")
        _down(sheet, x, 270, 300)
        sym.resistor(Spot(sheet, x, 330, 90), part.name, f"{part.ohm:g}")
        _down(sheet, x, 360, 440)
        sheet.dot((x, 440))
    sheet.wire((620, 170), (712, 170))
    sheet.dot((712, 170))
    sheet.wire((620, 440), (1394, 440))
    for number, role in enumerate(("permanent", "switched C", "switched D")):
        x = 620 + 276 * number
        sheet.thin((x - 14, 462), (x - 14, 468), (x + 200, 468), (x + 200, 462))
        sheet.text((x + 93, 486), f"{role}: low, nominal, high", "middle")
    sheet.wire((1394, 440), (1394, 490))
    sym.break_contact(Spot(sheet, 1394, 520, 90), "")
    sheet.text((1369, 525), "K11 (return open)", "end")
    sym.earth(sheet, (1394, 550))


def _proximity(sheet: Sheet) -> None:
    """Cable coding at the proximity contact."""
    sym.contact(sheet, (70, 590), "PP")
    sheet.wire((100, 590), (140, 590))
    sym.fuse(Spot(sheet, 170, 590), "F2", "500 mA")
    sheet.wire((200, 590), (850, 590))
    sheet.dot((240, 590))
    sheet.wire((240, 590), (240, 640))
    sym.suppressor(Spot(sheet, 240, 670, 90), "TV2", "15 V")
    _down(sheet, 240, 700, 800)
    sym.earth(sheet, (240, 800))
    for number, (code, part) in enumerate(design.CABLE.items()):
        x = 350 + 120 * number
        sheet.dot((x, 590))
        _down(sheet, x, 590, 640)
        sym.make_contact(Spot(sheet, x, 670, 90), f"K{12 + number}")
        sym.resistor(Spot(sheet, x, 740, 90), part.name, f"{part.ohm:g}")
        _down(sheet, x, 700, 710)
        _down(sheet, x, 770, 800)
        sym.earth(sheet, (x, 800))
        sheet.text((x, 860), code, "middle")
    _down(sheet, 850, 590, 640)
    sym.make_contact(Spot(sheet, 850, 670, 90), "K16")
    _down(sheet, 850, 700, 800)
    sym.earth(sheet, (850, 800))
    sheet.text((850, 860), "short", "middle")
