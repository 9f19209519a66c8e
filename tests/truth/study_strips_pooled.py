"""How often the interval of several pooled strips holds the truth, and how wide it is: a simulation apart from the crate, with numpy and scipy.

Strips have a true ratio of 1.15 with a standard deviation `tau` between them, a standard error of 0.015 each, and a variance of it estimated with `nu` degrees of
freedom. Three intervals: Hartung and Knapp as published; the same never below the weights' own error; the one in use, with at least 3 degrees of freedom and
reaching from strip to strip where Cochran's Q has a probability below 0.05. Prints coverage and median width of each, and how often Q says so.

    python tests/truth/study_strips_pooled.py
"""

import numpy as np
from scipy import stats

rng = np.random.default_rng(5)
TRUTH, ERROR, FIELDS = 1.15, 0.015, 20_000


def study(k, nu, tau):
    ratio = TRUTH + rng.normal(0, tau, (FIELDS, k)) + rng.normal(0, ERROR, (FIELDS, k))
    variance = ERROR**2 * rng.chisquare(nu, (FIELDS, k)) / nu
    weight = 1 / variance
    mean = (weight * ratio).sum(1) / weight.sum(1)
    q = (weight * (ratio - mean[:, None]) ** 2).sum(1)
    between = np.maximum(0, (q - (k - 1)) / (weight.sum(1) - (weight**2).sum(1) / weight.sum(1)))
    weight = 1 / (variance + between[:, None])
    mean = (weight * ratio).sum(1) / weight.sum(1)
    scale = (weight * (ratio - mean[:, None]) ** 2).sum(1) / (k - 1)
    disagree = stats.chi2.sf(q, k - 1) < 0.05
    rows = []
    for freedom, floor, spanned in ((k - 1, 0, False), (k - 1, 1, False), (max(3, k - 1), 1, True)):
        half = stats.t.ppf(0.975, freedom) * np.sqrt(np.maximum(scale, floor) / weight.sum(1))
        low, high = mean - half, mean + half
        if spanned:
            low = np.where(disagree, np.minimum(low, ratio.min(1)), low)
            high = np.where(disagree, np.maximum(high, ratio.max(1)), high)
        rows.append((np.mean((low <= TRUTH) & (TRUTH <= high)), np.median(high - low)))
    return rows, disagree.mean()


print("strips, degrees, between: coverage / width as published, never below the weights, in use; Q below 0.05")
for k in (2, 3, 4):
    for nu in (3, 6, 9):
        for tau in (0.0, 0.03, 0.06):
            rows, disagree = study(k, nu, tau)
            print(k, nu, tau, *(f"{held:.2f}/{width:.2f}" for held, width in rows), f"{disagree:.2f}")
