"""Reference estimates of made strips, computed plainly with numpy and scipy from the method's text, to compare the crate with.

Written apart from the crate: whole pixel lists in memory, numpy's own median, percentile, covariance and least squares, scipy's t.

    python tests/truth/make_reference.py > tests/truth/reference.json
"""

import json
import sys

import numpy as np
import scipy
from scipy import stats

rng = np.random.default_rng(20260414)


def walk(n, sd, keep):
    """Autocorrelated noise of length n."""
    out = np.empty(n)
    out[0] = rng.normal(0, sd)
    for i in range(1, n):
        out[i] = keep * out[i - 1] + rng.normal(0, sd * np.sqrt(1 - keep**2))
    return out


def pixels_along(level, shared, rows=3, along=120, segments=20, blocks=10):
    """Pixels (segment, block, share, index) of a strip."""
    own = walk(along, 0.02, 0.7)
    out = []
    for i in range(along):
        for row in range(rows):
            share = round(float(rng.uniform(0.5, 1.0)), 3) if row == 0 else 1.0
            value = round(float(level * (1 + shared[i]) + own[i] + rng.normal(0, 0.01)), 4)
            out.append((i * segments // along, i * blocks // along, share, value))
    return out


def with_data(counts):
    counts = np.asarray(counts, float)
    return (counts > 0) & (counts >= min(5.0, 0.5 * np.median(counts[counts > 0])))


def mean_by(p, key, n):
    """Weighted mean and count of the pixels of each piece."""
    k, w, v = p[:, key].astype(int), p[:, 2], p[:, 3]
    mean = np.array([np.average(v[k == i], weights=w[k == i]) if (k == i).any() else np.nan for i in range(n)])
    return mean, np.array([(k == i).sum() for i in range(n)])


def far_off(mean, data, drop):
    far = np.zeros(len(mean), bool)
    if drop > 0 and data.sum() >= 8:
        middle = np.median(mean[data])
        mad = np.median(np.abs(mean[data] - middle))
        far = data & (np.abs(np.nan_to_num(mean, nan=middle) - middle) > max(drop * 1.4826 * mad, 0.10 * abs(middle)) + 1e-12)
        if far.sum() > 0.25 * data.sum():
            far[:] = False
    return far


def fieller(a, b, vaa, vbb, vab, df):
    t = stats.t.ppf(0.975, df)
    roots = np.roots([b * b - t * t * vbb, -2 * (a * b - t * t * vab), a * a - t * t * vaa])
    return sorted(float(r.real) for r in roots)


def fine(strip, swath, drop=3.5, segments=20, blocks=10):
    strip, swath = np.array(strip, float), np.array(swath, float)
    ms, cs = mean_by(strip, 0, segments)
    mw, cw = mean_by(swath, 0, segments)
    ds, dw = with_data(cs), with_data(cw)
    fs, fw = far_off(ms, ds, drop), far_off(mw, dw, drop)
    keep_s, keep_w = ~fs, ~(fs | fw)
    ps, pw = strip[keep_s[strip[:, 0].astype(int)]], swath[keep_w[swath[:, 0].astype(int)]]
    ref, beside = np.average(ps[:, 3], weights=ps[:, 2]), np.average(pw[:, 3], weights=pw[:, 2])
    pairs = keep_w & ds & dw
    ratios = ms[pairs] / mw[pairs]
    ba, na = mean_by(ps, 1, blocks)
    bb, nb = mean_by(pw, 1, blocks)
    ok = with_data(na) & with_data(nb)
    a, b = ba[ok], bb[ok]
    k = len(a)
    r = a.sum() / b.sum()
    d = np.where(ok, ba - r * bb, np.nan)
    rho = float(np.clip(np.nansum(d[:-1] * d[1:]) / np.nansum(d * d) + 1 / k, 0, 0.9))
    eff = max(2.5, k * (1 - rho) / (1 + rho))
    cov = np.cov(a, b) / eff
    low, high = fieller(a.mean(), b.mean(), cov[0, 0], cov[1, 1], cov[0, 1], max(3, eff - 1))
    scale = ref / beside / r
    return dict(
        index=ref, index_without_dropping=np.average(strip[:, 3], weights=strip[:, 2]), beside=beside, dropped=np.flatnonzero(fs).tolist(),
        swath_dropped=np.flatnonzero(~keep_w).tolist(), pairs=int(pairs.sum()), blocks=k, rho=rho, effective_blocks=eff, low=low * scale, high=high * scale,
        seen_low=np.percentile(ratios, 5), seen_high=np.percentile(ratios, 95),
        swath_cv=np.sqrt(np.average((pw[:, 3] - beside) ** 2, weights=pw[:, 2])) / beside)


def coarse_pixels(n=24, blocks=10):
    shared = walk(n, 0.03, 0.6)
    out = []
    for i in range(n):
        for share in (0.0, 0.0, 0.35, 1.0, 0.85, 0.05, 0.0):
            value = share * 0.78 * (1 + shared[i]) + (1 - share) * 0.62 * (1 + shared[i]) + rng.normal(0, 0.012)
            out.append((share, round(float(value), 4), i * blocks // n))
    return out


def coarse(pixels, blocks=10):
    p = np.array(pixels, float)
    fit = lambda q: np.linalg.lstsq(np.stack([q[:, 0], 1 - q[:, 0]], 1), q[:, 1], rcond=None)[0]
    ref, beside = fit(p)
    ids = np.unique(p[:, 2])
    k = len(ids)
    rep = np.array([fit(p[p[:, 2] != i]) for i in ids])
    dev = rep - rep.mean(0)
    cov = (k - 1) / k * dev.T @ dev
    # What neighbouring blocks have in common, in the jackknife's own differences.
    d = dev @ np.array([1.0, -ref / beside])
    touch = np.diff(ids) == 1
    rho = min(max((d[1:] * d[:-1])[touch].sum() / (d * d).sum() + 1 / k, 0.0), 0.9)
    k_eff = max(2.5, k * (1 - rho) / (1 + rho))
    wide = cov * k / k_eff
    low, high = fieller(ref, beside, wide[0, 0], wide[1, 1], wide[0, 1], max(3.0, k_eff - 1))
    return dict(index=ref, beside=beside, standard_error=np.sqrt(cov[0, 0]), low=low, high=high, blocks=k, rho=rho, effective_blocks=k_eff)


def case_fine(spoil):
    shared = walk(120, 0.04, 0.9)
    strip, swath = pixels_along(0.78, shared), pixels_along(0.60, shared)
    strip, swath = spoil(strip, swath)
    return dict(strip=strip, swath=swath, expected=fine(strip, swath))


def drowned(strip, swath):
    """Segment 6 of the strip and segment 11 of the swath are drowned; segment 15 of the strip was not seen but for three pixels."""
    strip = [(s, b, w, round(v * 0.5, 4) if s == 6 else v) for s, b, w, v in strip]
    swath = [(s, b, w, round(v * 0.6, 4) if s == 11 else v) for s, b, w, v in swath]
    seen = [p for p in strip if p[0] != 15] + [p for p in strip if p[0] == 15][:3]
    return seen, swath


def unseen_block(strip, swath):
    """Block 4 lies under cloud on both sides."""
    return [p for p in strip if p[1] != 4], [p for p in swath if p[1] != 4]


cp = coarse_pixels()
result = dict(
    header=["made strips and their estimates, by tests/truth/make_reference.py", "python tests/truth/make_reference.py > tests/truth/reference.json",
            f"numpy {np.__version__}, scipy {scipy.__version__}"],
    fine=dict(plain=case_fine(lambda a, b: (a, b)), drowned=case_fine(drowned), unseen_block=case_fine(unseen_block)),
    coarse=dict(pixels=cp, expected=coarse(cp)),
    student=[[df, stats.t.ppf(0.975, df)] for df in (1.0, 1.5, 2.25, 4.0, 6.6666, 9.0, 12.585471, 30.0, 200.0)],
)
json.dump(result, sys.stdout, default=lambda v: v.item() if hasattr(v, "item") else v, separators=(",", ":"))
print()
