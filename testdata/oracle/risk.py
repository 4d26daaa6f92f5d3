"""Global risks of a decision rule: bivariate normal, by integrating rectangles.

A checked instrument has the error E ~ N(0, u0); the check shows E + N(0, um).
Consumer's risk: accepted, |E| > T. Producer's risk: rejected, |E| <= T.
"""

import numpy
from scipy.stats import multivariate_normal

from table import show


def rectangle(u0, um, tolerance, accept):
    """P(|E| <= tolerance and |shown| <= accept)."""
    var = u0 * u0
    both = multivariate_normal([0, 0], numpy.array([[var, var], [var, var + um * um]]))
    def below(x, y):
        return both.cdf([x, y])
    return (below(tolerance, accept) - below(-tolerance, accept)
            - below(tolerance, -accept) + below(-tolerance, -accept))


def rows():
    for um in (0.02, 0.04, 0.1):
        for accept in (0.16, 0.18, 0.2, 0.22):
            u0, tolerance = 0.12, 0.2
            good = rectangle(u0, um, tolerance, accept)
            accepted = rectangle(u0, um, 100, accept)
            conforming = rectangle(u0, um, tolerance, 100)
            yield "consumer", u0, um, tolerance, accept, round(accepted - good, 9)
            yield "producer", u0, um, tolerance, accept, round(conforming - good, 9)


show(["scipy", "numpy"], ["quantity", "u0", "um", "tolerance", "accept", "value"], rows())
