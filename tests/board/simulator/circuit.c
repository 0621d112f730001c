#include "circuit.h"

#include <math.h>

// Settled when the slowest part has gone through so many of its time constants: e^-23 of 24 V is
// 2.5 nV.
static const double SETTLED = 23.0;

// A diode and a resistor in series, W. Shockley, "The Theory of p-n Junctions in Semiconductors
// and p-n Junction Transistors", Bell System Technical Journal 28 (3), 1949: for the drop u,
// u + R Is (exp(u / n Vt) - 1) is the whole voltage. The left side is convex and rises, so that
// Newton's steps from above never overshoot.
static double diode_current(const struct circuit *circuit, double volts)
{
    double ohm = circuit->load.ladder_ohm, is = circuit->diode_is, nvt = circuit->diode_nvt;
    if (volts <= 0.0)
        return is * expm1(volts / nvt);
    double u = fmin(volts, nvt * log1p(volts / (ohm * is)));
    for (int i = 0; i < 50; i++) {
        double e = exp(u / nvt);
        double step = (u + ohm * is * (e - 1.0) - volts) / (1.0 + ohm * is * e / nvt);
        u -= step;
        if (fabs(step) < 1e-13)
            break;
    }
    return (volts - u) / ohm;
}

double circuit_current(const struct circuit *circuit, double volts)
{
    double current = volts / circuit->load.shunt_ohm;
    if (!isfinite(circuit->load.ladder_ohm))
        return current;
    if (circuit->load.diode)
        return current + diode_current(circuit, volts);
    return current + volts / circuit->load.ladder_ohm;
}

double circuit_level(const struct circuit *circuit, double source_v)
{
    double low = fmin(source_v, 0.0), high = fmax(source_v, 0.0);
    for (int i = 0; i < 80; i++) {
        double middle = 0.5 * (low + high);
        double surplus = (source_v - middle) / circuit->source_ohm - circuit_current(circuit, middle);
        if (surplus > 0.0)
            low = middle;
        else
            high = middle;
    }
    return 0.5 * (low + high);
}

static double source_at(const struct shape *shape, double since)
{
    const struct start *start = &shape->start;
    if (since >= start->ramp_s)
        return start->to_v;
    return start->from_v + (start->to_v - start->from_v) * since / start->ramp_s;
}

struct rates {
    double v, front;
};

static struct rates rates(const struct shape *shape, const struct circuit *circuit, double since,
                          double v, double front)
{
    double in = (source_at(shape, since) - v) / circuit->source_ohm;
    return (struct rates){
        .v = (in - circuit_current(circuit, v)) / circuit->farad,
        .front = (v - front) / circuit->front_s,
    };
}

// A step that divides the ramp, so that no step goes over its corner, and that is small against
// the faster time constant.
static double step_of(const struct shape *shape, const struct circuit *circuit, double span)
{
    double slow = circuit->source_ohm * circuit->farad;
    double step = fmin(slow, circuit->front_s) / 16.0;
    step = fmax(step, span / (SHAPE_POINTS - 2));
    if (shape->start.ramp_s > 0.0)
        step = shape->start.ramp_s / ceil(shape->start.ramp_s / step - 1e-9);
    return step;
}

// Classical fourth-order Runge-Kutta.
void shape_solve(struct shape *shape, const struct circuit *circuit, struct start start)
{
    shape->start = start;
    double slow = fmax(circuit->source_ohm * circuit->farad, circuit->front_s);
    double span = start.ramp_s + SETTLED * slow;
    double h = step_of(shape, circuit, span);
    int points = (int)fmin(ceil(span / h) + 1.0, SHAPE_POINTS);
    double v = start.v, front = start.front_v;
    shape->step_s = h;
    shape->points = points;
    shape->end_v = circuit_level(circuit, start.to_v);
    for (int i = 0; i < points; i++) {
        double t = i * h;
        struct rates a = rates(shape, circuit, t, v, front);
        shape->v[i] = v;
        shape->dv[i] = a.v;
        shape->front[i] = front;
        shape->dfront[i] = a.front;
        struct rates b = rates(shape, circuit, t + h / 2, v + a.v * h / 2, front + a.front * h / 2);
        struct rates c = rates(shape, circuit, t + h / 2, v + b.v * h / 2, front + b.front * h / 2);
        struct rates d = rates(shape, circuit, t + h, v + c.v * h, front + c.front * h);
        v += h / 6 * (a.v + 2 * b.v + 2 * c.v + d.v);
        front += h / 6 * (a.front + 2 * b.front + 2 * c.front + d.front);
    }
}

// Cubic between two points with their slopes.
static double between(const double *value, const double *slope, double h, double place)
{
    int i = (int)place;
    double s = place - i;
    double s2 = s * s, s3 = s2 * s;
    return (2 * s3 - 3 * s2 + 1) * value[i] + (s3 - 2 * s2 + s) * h * slope[i]
        + (3 * s2 - 2 * s3) * value[i + 1] + (s3 - s2) * h * slope[i + 1];
}

static double at(const struct shape *shape, const double *value, const double *slope, double since)
{
    double place = since / shape->step_s;
    if (place <= 0.0)
        return value[0];
    if (place >= shape->points - 1)
        return shape->end_v;
    return between(value, slope, shape->step_s, place);
}

double shape_volts(const struct shape *shape, double since)
{
    return at(shape, shape->v, shape->dv, since);
}

double shape_front(const struct shape *shape, double since)
{
    return at(shape, shape->front, shape->dfront, since);
}

static double crossing(const struct shape *shape, const double *value, const double *slope,
                       double level, bool upwards, double after)
{
    double sign = upwards ? 1.0 : -1.0;
    int first = (int)fmin(after / shape->step_s, shape->points);
    for (int i = first + 1; i < shape->points; i++) {
        if (sign * (value[i] - level) <= 0.0 || sign * (value[i - 1] - level) > 0.0)
            continue;
        double low = i - 1, high = i - 1e-12;
        for (int k = 0; k < 50; k++) {
            double middle = 0.5 * (low + high);
            if (sign * (between(value, slope, shape->step_s, middle) - level) < 0.0)
                low = middle;
            else
                high = middle;
        }
        return fmax(after, 0.5 * (low + high) * shape->step_s);
    }
    return INFINITY;
}

double shape_crossing(const struct shape *shape, double level, bool upwards)
{
    return crossing(shape, shape->v, shape->dv, level, upwards, 0.0);
}

double shape_front_crossing(const struct shape *shape, double level, bool upwards, double after,
                            double *slope)
{
    double since = crossing(shape, shape->front, shape->dfront, level, upwards, after);
    if (isfinite(since)) {
        int i = (int)(since / shape->step_s);
        *slope = shape->dfront[i < shape->points ? i : shape->points - 1];
    }
    return since;
}
