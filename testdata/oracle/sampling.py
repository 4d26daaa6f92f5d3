"""Operating characteristics and proofs of attributes plans."""

from scipy.stats import beta, binom, hypergeom, multinomial

from table import show

PLANS = ((5, 0), (5, 2), (10, 1), (13, 2), (30, 0), (60, 0), (84, 9), (200, 19), (500, 42))
LOTS = ((20, 10, 0), (50, 10, 1), (100, 60, 0), (500, 60, 0), (1000, 84, 9), (5000, 200, 19), (40000, 315, 14))


def three(n, c, marginal, above):
    good = 1 - marginal - above
    return sum(multinomial.pmf([i, n - i, 0], n, [marginal, good, above]) for i in range(c + 1))


def allowed(lot, n, found, confidence):
    """The largest number of defective units that is not excluded."""
    most = lot - (n - found)
    return max(d for d in range(found, most + 1) if hypergeom.cdf(found, lot, d, n) > 1 - confidence)


def size(lot, defective, confidence):
    n = 1
    while hypergeom.pmf(0, lot, defective, n) > (1 - confidence) * (1 + 1e-12):
        n += 1
    return n


def rows():
    for n, c in PLANS:
        for share in (0.001, 0.01, 0.049, 0.1, 0.3):
            yield "passes", "", n, c, share, "", binom.cdf(c, n, share)
        for confidence in (0.9, 0.95, 0.99):
            yield "proves", "", n, c, confidence, "", beta.ppf(confidence, c + 1, n - c)
    for n, c in ((5, 1), (5, 2), (5, 3), (10, 1)):
        for marginal in (0.02, 0.15, 0.4):
            for above in (0.0, 0.03, 0.2):
                yield "passes_three", "", n, c, marginal, above, three(n, c, marginal, above)
    for lot, n, c in LOTS:
        for defective in sorted({1, lot // 100, lot // 20, lot // 10} - {0}):
            yield "passes_lot", lot, n, c, defective, "", hypergeom.cdf(c, lot, defective, n)
        if lot <= 5000:
            for confidence in (0.9, 0.95, 0.99):
                yield "proves_lot", lot, n, c, confidence, "", allowed(lot, n, c, confidence)
    for lot, defective in ((50, 1), (100, 2), (100, 5), (1000, 10), (1000, 50), (5000, 5)):
        for confidence in (0.8, 0.9, 0.95):
            yield "size_lot", lot, "", "", confidence, defective, size(lot, defective, confidence)


show(["scipy"], ["quantity", "lot", "n", "c", "at", "second", "value"], rows())
