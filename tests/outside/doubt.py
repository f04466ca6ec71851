"""Says where uncertainties and distributions differ from GTC's and scipy's.

GTC is the GUM Tree Calculator of New Zealand's metrology institute. Lines in: JSON objects with
`kind`, what went in, and what came out. Lines out: each disagreement; last the counts of each kind.
"""

import json
import math
import sys
from collections import Counter
from fractions import Fraction

import GTC
import numpy as np
from scipy import stats
from scipy.integrate import quad

worst = Counter()
kinds = Counter()


def near(kind, got, want, room):
    """Relative difference, from 1 on downwards absolute."""
    off = abs(got - want) / max(abs(want), 1.0)
    worst[kind] = max(worst[kind], off)
    if not off <= room:
        print(f"differs: {line} wants {want!r}")


def part(value, share, freedom, independent=True):
    return GTC.ureal(value, abs(share), math.inf if freedom is None else freedom, independent=independent)


def budget(case):
    """A sum of inputs, each with its share as uncertainty, signs as coefficients."""
    tied = {end for one, other, _ in case["ties"] for end in (one, other)}
    inputs = [part(0, share, freedom, at not in tied) for at, (share, freedom) in enumerate(case["parts"])]
    for one, other, r in case["ties"]:
        GTC.set_correlation(r, inputs[one], inputs[other])
    total = sum(math.copysign(1, share) * one for one, (share, _) in zip(inputs, case["parts"]))
    near("budget", case["u"], total.u, 1e-12)
    if not case["ties"]:
        freedom = math.inf if case["freedom"] is None else case["freedom"]
        if math.isinf(total.df) or math.isinf(freedom):
            if total.df != freedom:
                print(f"differs: {line} wants {total.df!r}")
        else:
            near("freedom", freedom, total.df, 1e-9)
            t = stats.t.ppf((1 + math.erf(2**0.5)) / 2, max(math.floor(total.df), 1))
            near("coverage", case["k"], t, 1e-8 if total.df <= 1e6 else 2e-6)


def end_gauge(case):
    """GUM H.1: the length of a gauge block, by the whole model and not by its sensitivities."""
    standard = GTC.ureal(50_000_623, 25, 18)
    d = GTC.ureal(215, 5.8, 24) + GTC.ureal(0, 3.9, 5) + GTC.ureal(0, 6.7, 8)
    delta_alpha = GTC.ureal(0, 1e-6 / 3**0.5, 50)
    delta_theta = GTC.ureal(0, 0.05 / 3**0.5, 2)
    theta = GTC.ureal(-0.1, 0.2) + GTC.ureal(0, 0.5 / 2**0.5)
    alpha = GTC.ureal(11.5e-6, 2e-6 / 3**0.5)
    length = standard + d - standard * (delta_alpha * theta + alpha * delta_theta)
    near("end gauge", case["u"], length.u, 1e-9)
    near("end gauge", case["freedom"], length.df, 1e-6)


def impedance(case):
    """GUM H.2: resistance, reactance and impedance from voltage, current and phase."""
    v, i, phi = GTC.multiple_ureal([4.999, 19.661e-3, 1.04446], [0.0032, 9.5e-6, 7.5e-4], 4)
    for pair, r in [((v, i), -0.36), ((v, phi), 0.86), ((i, phi), -0.65)]:
        GTC.set_correlation(r, *pair)
    found = [v / i * GTC.cos(phi), v / i * GTC.sin(phi), v / i]
    for got, want in zip(case["u"], found):
        near("impedance", got, want.u, 1e-9)


def deviation(case):
    near("deviation", case["s"], float(GTC.type_a.standard_deviation([float(x) for x in case["in"]])), 1e-7)


def noise(case):
    """The two-sample variance; its freedom for white noise (von Neumann), rounded down."""
    off = np.diff(np.array(case["in"], dtype=float)) / 1000
    near("noise", case["s"], math.sqrt(np.mean(off**2) / 2), 1e-5)
    n = len(off)
    near("noise freedom", case["freedom"], math.floor(Fraction(2 * n * n, 3 * n - 1)), 0)


def risk(case):
    """Wrong decisions over a population, by adaptive quadrature; ours is Simpson's rule."""
    items = stats.gamma(case["shape"], scale=1 / case["rate"])
    limit = case["limit"]

    def accepted(x):
        return stats.norm.cdf((case["accept"] - x) / case["u"])

    wrong, _ = quad(lambda x: items.pdf(x) * accepted(x), limit, 40, limit=200, points=[limit + 2])
    near("risk", case["accepted"], wrong, 1e-6)
    wrong, _ = quad(lambda x: items.pdf(x) * (1 - accepted(x)), 0, limit, limit=200)
    near("risk", case["rejected"], wrong, 1e-6)


def judged(case):
    """A verdict's uncertainty, from the object that was judged and from nothing else."""
    given, accuracy = case["in"], case["in"]["accuracy"]
    cover = {"none": 3**0.5, "k2": 2, "k3": 3, "p95": stats.norm.ppf(0.975)}[accuracy["coverage"]]
    points = [[float(point[key]) for key in ("at", "error", "expanded")] for point in given["certificate"]]
    at, errors, expanded = zip(*points)

    def right(reading):
        return reading - float(np.interp(reading, at, errors))

    null, limit = float(given["lead_null"]), 0.3
    null = right(null) if null else 0.0

    def total(value):
        """Uncertainty of what is left of a reading when the null is gone."""
        reading = value + null
        half = [float(accuracy["reading_percent"]) / 100 * of + accuracy["digits"] * 0.001 for of in (reading, abs(null))]
        u_reading, u_null = half[0] / cover, half[1] / cover
        shown = GTC.ureal(reading, u_reading, independent=False)
        leads = GTC.ureal(null, u_null, independent=False)
        if u_reading and u_null:
            GTC.set_correlation(float(accuracy["null_correlation"]), shown, leads)
        s = GTC.type_a.standard_deviation([float(x) for x in given["repeats"]])
        noise = GTC.ureal(0, float(s) * 2**0.5, len(given["repeats"]) - 1)
        resistor = GTC.ureal(1, float(accuracy["network_percent"]) / 100 / 3**0.5)
        certificate = GTC.ureal(0, max(expanded) / 2) + GTC.ureal(0, max(expanded) / 2)
        return (shown * resistor - leads + noise + certificate), noise

    value, noise = total(right(float(given["value"])) - null)
    near("verdict value", float(Fraction(case["value"])), value.x, 1e-12)
    at_limit, _ = total(limit)
    # GTC reckons no freedom where inputs go together: Welch and Satterthwaite by hand.
    freedom = math.inf if noise.u == 0 else at_limit.u**4 / (noise.u**4 / (len(given["repeats"]) - 1))
    whole = float(max(math.floor(min(freedom, 1e6)), 1))
    k = 2.0 if math.isinf(freedom) else stats.t.ppf((1 + math.erf(2**0.5)) / 2, whole)
    # Four significant digits; the factor is printed rounded up to two decimals.
    near("verdict u", float(case["u"]), value.u, 5e-4 * value.u + 1e-12)
    near("verdict k", float(case["k"]), k, 0.0101 / k)
    near("verdict U", float(case["expanded"]), k * value.u, 5e-4 * k * value.u + 1e-12)


def slope(case):
    x, y = zip(*case["in"])
    want = stats.theilslopes(y, x, case["covers"])
    for got, want in [
        (case["got"], want.slope),
        (case["intercept"], want.intercept),
        (case["low"], want.low_slope),
        (case["high"], want.high_slope),
    ]:
        near("slope", got, float(want), 1e-12)


CHECKS = {
    "slope": slope,
    "judged": judged,
    "budget": budget,
    "end_gauge": end_gauge,
    "impedance": impedance,
    "deviation": deviation,
    "noise": noise,
    "risk": risk,
    "normal": lambda case: near("normal", case["got"], stats.norm.cdf(case["z"]), 1e-14),
    "normal_at": lambda case: near("normal_at", case["got"], stats.norm.ppf(case["p"]), 1e-9),
    # At 1e5 degrees of freedom the logarithms of gamma functions lose five digits of sixteen.
    "student": lambda case: near("student", case["got"], stats.t.cdf(case["t"], case["freedom"]), 1e-10),
    "student_at": lambda case: near("student_at", case["got"], stats.t.ppf(case["p"], case["freedom"]), 1e-8),
}

for line in sys.stdin:
    line = line.strip()
    case = json.loads(line)
    CHECKS[case["kind"]](case)
    kinds[case["kind"]] += 1
print(" ".join(f"{kind}={count}" for kind, count in sorted(kinds.items())))
print(" ".join(f"{kind}:{off:.1e}" for kind, off in sorted(worst.items())))
