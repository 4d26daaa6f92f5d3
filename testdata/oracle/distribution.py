"""Normal tails, and quantiles of the normal, Student t, chi-squared and beta."""

from scipy.stats import beta, chi2, norm, t

from table import show

PROBABILITIES = (0.001, 0.025, 0.05, 0.5, 0.8, 0.8413447461, 0.9, 0.95, 0.975, 0.9772498681, 0.99, 0.995, 0.99865)


def rows():
    for tenth in range(-80, 81, 5):
        yield "normal_cdf", "", "", tenth / 10, norm.cdf(tenth / 10)
    for p in PROBABILITIES:
        yield "normal_quantile", "", "", p, norm.ppf(p)
    for nu in (1, 2, 3, 4, 5, 7, 9, 14, 19, 29, 35, 50, 100):
        for p in PROBABILITIES:
            yield "t_quantile", nu, "", p, t.ppf(p, nu)
    for failures in (0, 1, 2, 5, 10, 40):
        for p in (0.5, 0.8, 0.9, 0.95, 0.99):
            yield "chi2_quantile", 2 * failures + 2, "", p, chi2.ppf(p, 2 * failures + 2)
    for n, k in ((5, 1), (10, 3), (20, 18), (50, 45), (60, 1), (200, 19), (800, 64), (5000, 2500)):
        for p in (0.05, 0.1, 0.5, 0.9, 0.95, 0.99):
            yield "beta_quantile", k + 1, n - k, p, beta.ppf(p, k + 1, n - k)


show(["scipy"], ["quantity", "a", "b", "at", "value"], rows())
