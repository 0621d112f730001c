"""The charts of a lot's plan and of a supplier: characteristic, means lot by lot; no drawing."""

import math
from dataclasses import replace

from rungbench.desktop.figures import number, short, unit_text, with_uncertainty
from rungbench.desktop.lots_chart import (
    Chart,
    Curve,
    Line,
    Point,
    axis,
    beyond,
    counting,
    inside,
    notes,
    span,
)
from rungbench.desktop.lots_charts import K, control_lines, limit_lines, told
from rungbench.lots import characteristic
from rungbench.lots.characteristic import CONSUMER, Risks
from rungbench.lots.control import FEWEST
from rungbench.lots.sampling import SamplingPlan
from rungbench.lots.variables import Trend

# The plan -----------------------------------------------------------------------------------------


def characteristic_chart(plan: SamplingPlan, risks: Risks) -> Chart:
    """Probability of acceptance over percent nonconforming, with the points of both risks."""
    curve = characteristic.curve(plan, 61)
    xs = tuple(point.percent for point in curve)
    last = max(xs[-1], 1.6 * risks.consumer_percent if risks.consumer_units is None else xs[-1])
    x = replace(axis(0.0, min(100.0, last)), title="% of the lot nonconforming")
    points = [_producer(plan)]
    if risks.consumer_units is not None:
        points.append(_consumer(plan, risks.consumer_units))
    return Chart(
        "Operating characteristic: probability of acceptance, %",
        x,
        axis(0.0, 105.0),
        tuple(f"{point.about}." for point in points),
        across=(Line(100.0 * CONSUMER, f"{number(100.0 * CONSUMER, 0)} %"),),
        upright=(Line(plan.aql, f"AQL {short(plan.aql)} %", "presented", low=True),),
        points=tuple(points),
        curves=(
            Curve(xs, tuple(100.0 * point.binomial for point in curve), "faint", dashed=True),
            Curve(xs, tuple(100.0 * point.probability for point in curve)),
        ),
    )


def _producer(plan: SamplingPlan) -> Point:
    units = math.floor(plan.aql * plan.lot_size / 100.0 + 1e-9)
    accepted = 100.0 * float(characteristic.hypergeometric(plan, units)[0])
    return Point(
        100.0 * units / plan.lot_size,
        accepted,
        f"Producer's risk: a lot as good as the AQL ({units} of {plan.lot_size} nonconforming) is "
        f"rejected with a probability of {number(100.0 - accepted, 1)} %",
        stands_out=True,
        label=f"producer's risk {number(100.0 - accepted, 1)} %",
    )


def _consumer(plan: SamplingPlan, units: int) -> Point:
    accepted = 100.0 * float(characteristic.hypergeometric(plan, units)[0])
    percent = 100.0 * units / plan.lot_size
    return Point(
        percent,
        accepted,
        f"Consumer's risk: a lot with {units} nonconforming ({short(round(percent, 2))} %) is "
        f"accepted with a probability of {number(accepted, 1)} %",
        stands_out=True,
        label=f"consumer's risk {number(accepted, 1)} %",
    )


# A supplier ---------------------------------------------------------------------------------------


def trend_chart(found: Trend) -> Chart | None:
    """Means of a supplier's lots with their uncertainty; ``None`` while no lot has a mean."""
    series, unit = found.whole.series, found.whole.series.unit
    points, between = [], found.between
    shown = [point for point in found.lots if point.spread is not None]
    for at, point in enumerate(shown):
        spread = point.spread
        if spread is None:
            continue
        mean = with_uncertainty(spread.mean, K * spread.u_mean, unit)
        about = f"Lot {point.lot}: mean {mean}, {point.count} values"
        out = between is not None and at in between.beyond
        points.append(Point(at + 1.0, spread.mean, about, point.lot, out, K * spread.u_mean))
    if not points:
        return None
    ends = [end for one in points for end in (one.y - one.half, one.y + one.half)]
    limits = limit_lines(series)
    lines = () if between is None else control_lines(between.low, between.centre, between.high)
    y = span([*ends, *(line.value for line in lines)], [line.value for line in limits])
    said = [beyond(limits, y)]
    if between is None:
        said.append(f"Limits of the chart take {FEWEST} lots.")
    else:
        off = [one.key for one in points if one.stands_out]
        said.append(f"Lots off the others: {', '.join(off)}." if off else "No lot stands out.")
    return Chart(
        f"Mean of each lot, {unit_text(unit)} (whiskers: U, k = 2)",
        counting(len(points), "lot, in the order of testing"),
        y,
        notes(*said),
        across=(*told(lines, y), *inside(limits, y)),
        points=tuple(points),
        joined=True,
    )
