"""Which dated records a bench goes by, in lines for people: the same wherever it is shown."""

from collections.abc import Iterator, Mapping
from typing import Any


def record_lines(calibration: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Name and text of each record in a calibration's plain values; none in older run records."""
    for record in calibration.get("records", ()):
        yield (
            f"calibrated {record['part']}",
            f"{record['id']}, made {record['made']} by {record['by']} at "
            f"{record['temperature_c']:.1f} °C, valid until {record['valid_until']}",
        )
        for instrument in record["instruments"]:
            yield "", f"against {instrument}"
    for part, why in calibration.get("doubts", {}).items():
        yield f"{part} NOT USED", why
    if calibration.get("records") and calibration.get("temperature_c") is None:
        yield "", "this board tells no temperature: that of the records is not checked"
