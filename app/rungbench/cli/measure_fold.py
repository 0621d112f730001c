"""``rungbench measure FILE --fold OUT.csv``: one period in equivalent time."""

from pathlib import Path
from typing import Any, Final, TextIO

from pilotsignal.figures import figure
from pilotsignal.fold import Folded, FoldedTransition
from pilotsignal.quantity import Quantity
from rungbench.errors import RungbenchError, WrongUse

_NORMAL: Final = 1.96  # 95 % of a normal distribution: bins hold too many inputs for another factor
_SHOWN: Final = {
    "duration_us": "transition duration, 10 to 90 %",
    "overshoot_percent": "overshoot",
    "settling_us": "settling, 50 % into the band",
    "time_constant_us": "time constant beyond the knee",
}


def save_fold(view: Folded, origin: str, file: str) -> None:
    """Write the mean waveform to a new file.

    Raises
    ------
    WrongUse : the file is there already, or is standard output, which holds the page.
    RungbenchError : it cannot be written.
    """
    if file in ("", "-"):
        raise WrongUse("--fold needs the name of a file; name one that does not exist yet.")
    try:
        with Path(file).open("x", encoding="utf-8", newline="") as stream:
            write_fold(view, origin, stream)
    except FileExistsError as problem:
        raise WrongUse(f"{file} exists already; name another file.") from problem
    except (OSError, ValueError) as problem:
        raise RungbenchError(f"{file} cannot be written ({problem}); name another.") from problem


def write_fold(view: Folded, origin: str, stream: TextIO) -> None:
    """Comment lines, then one row for each bin that holds samples; decimal points, V and us."""
    comments = {
        "origin": origin,
        "phase": "us after the 50 % instant of the rising edge",
        "period (us)": f"{view.period_us:.9g}",
        "effective resolution (us)": f"{view.resolution_us:.6g}",
        "width of a bin (us)": f"{view.bin_us:.6g}",
        "largest gap between samples (us)": (
            f"{view.gaps.overall_us:.6g}; around the rising edge {view.gaps.rise_us:.6g},"
            f" the falling edge {view.gaps.fall_us:.6g}"
        ),
        "U": "95 %, noise and what is stated of the calibration",
    }
    for name, value in comments.items():
        text = value.replace("\r", " ").replace("\n", " ")
        stream.write(f"# {name}: {text}\n")
    stream.write("phase_us,mean_v,expanded_uncertainty_v,count\n")
    rows = zip(
        view.phase_us.tolist(),
        view.mean_v.tolist(),
        (_NORMAL * view.u_v).tolist(),
        view.count.tolist(),
        strict=True,
    )
    stream.writelines(f"{at:.6f},{mean:.6f},{u:.3g},{count}\n" for at, mean, u, count in rows)


def fold_lines(view: Folded) -> list[str]:
    """What the fold says, one line each."""
    lines = [
        f"{view.phase_us.size} bins, resolution {view.resolution_us:.3g} us; samples lie at most"
        f" {view.gaps.rise_us:.3g} us apart around the rising edge,"
        f" {view.gaps.fall_us:.3g} us around the falling one"
    ]
    for word, edge in (("rising", view.rise), ("falling", view.fall)):
        lines += [f"{word} edge, {text}" for text in _told(edge)]
    return lines + [notice.text for notice in view.notices]


def _told(edge: FoldedTransition) -> list[str]:
    values = [(word, _quantities(edge)[name]) for name, word in _SHOWN.items()]
    return [
        f"{word}: {figure(value.value, value.expanded(), value.unit)}"
        for word, value in values
        if value is not None
    ]


def _quantities(edge: FoldedTransition) -> dict[str, Quantity | None]:
    return {
        "duration_us": edge.duration_us,
        "overshoot_percent": edge.overshoot_percent,
        "settling_us": edge.settling_us,
        "time_constant_us": edge.time_constant_us,
    }


def fold_document(view: Folded, file: str) -> dict[str, Any]:
    """The fold as plain values; the waveform itself is in the file."""
    return {
        "file": file,
        "period_us": view.period_us,
        "resolution_us": view.resolution_us,
        "bin_us": view.bin_us,
        "bins": int(view.phase_us.size),
        "largest_gap_us": {
            "overall": view.gaps.overall_us,
            "rise": view.gaps.rise_us,
            "fall": view.gaps.fall_us,
        },
        "rise": _edge(view.rise),
        "fall": _edge(view.fall),
        "notices": [{"code": one.code, "text": one.text} for one in view.notices],
    }


def _edge(edge: FoldedTransition) -> dict[str, Any]:
    plain: dict[str, Any] = {
        name: None
        if value is None
        else {
            "value": value.value,
            "expanded_uncertainty": value.expanded(),
            "unit": value.unit,
        }
        for name, value in _quantities(edge).items()
    }
    return {"at_us": edge.at_us, "smear_us": edge.smear_us, **plain}
