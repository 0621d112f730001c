"""What goes with every verdict: cautions, and what the pilot contact cannot prove."""

from typing import Final

CAUTIONS: Final = (
    "Qualified persons only. Local codes and licensed practice prevail.",
    "In state C the outlet is live. The emergency stop cuts the charger's supply.",
    "Prove the protective earth with an installation tester before plugging in, behind an RCD.",
    "Never defeat the charger's own protection.",
)
CANNOT_PROVE: Final = (
    "opening under load",
    "switching of the neutral",
    "continuity of the protective conductor",
    "edges of the generator before its source resistor",
    "behaviour under superimposed high frequency",
)
NOT_MADE: Final = (
    (
        "ramp of 0.01 V/s",
        "The ladder has resistors of fixed values, so that no level can be moved slowly.",
    ),
    ("superimposed high frequency", "Nothing here couples a high frequency onto the pilot."),
    (
        "edges of the generator",
        "The contact lies behind the source resistor and the capacitance: what the generator does "
        "before them cannot be seen.",
    ),
    ("opening under load", "Nothing draws current from the outlet."),
    (
        "state F on demand",
        "Only the charger can show state F; it is timed where a fault brings it about.",
    ),
)
"""What no stand-in of this kind can make, with why: on every record."""
NO_CERTIFICATION: Final = "This is an inspection and no certification."
