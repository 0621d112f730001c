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
NO_CERTIFICATION: Final = "This is an inspection and no certification."
