"""Kriging by PyKrige 1.7.3 and semivariances by GSTools 1.7.0, to compare the crate with.

    python tests/truth/make_points.py > tests/truth/points.json

PyKrige predicts a reading (structure and nugget), haulm the mean of ground (structure alone): variances differ by the nugget, estimates do not.
"""

import json
import sys

import gstools
import numpy as np
import pykrige
from pykrige.ok import OrdinaryKriging

rng = np.random.default_rng(7)
n = 24
x, y = np.round(rng.uniform(0, 100, n), 3), np.round(rng.uniform(0, 100, n), 3)
z = np.round(0.6 + 0.1 * np.sin(x / 25) + 0.05 * np.cos(y / 17) + rng.normal(0, 0.01, n), 4)
tx, ty = [50.0, 12.5, 99.0, 140.0], [50.0, 80.0, 1.0, 60.0]
cases = []
for model, factor in (("spherical", 1.0), ("exponential", 3.0)):
    nugget, sill, scale = 0.0004, 0.0050, 45.0
    # PyKrige's range of an exponential model is the practical one, three times the parameter.
    krige = OrdinaryKriging(x, y, z, variogram_model=model, variogram_parameters={"psill": sill, "range": factor * scale, "nugget": nugget})
    value, variance = krige.execute("points", tx, ty)
    cases.append({"model": model, "nugget": nugget, "sill": sill, "range": scale, "value": list(map(float, value)), "variance": list(map(float, variance))})
edges = np.linspace(0, 60, 11)
_, gamma, pairs = gstools.vario_estimate((x, y), z, edges, return_counts=True)
json.dump(
    {
        "made_by": f"PyKrige {pykrige.__version__}, GSTools {gstools.__version__}, numpy {np.__version__}",
        "readings": [list(map(float, row)) for row in zip(x, y, z)],
        "targets": [list(row) for row in zip(tx, ty)],
        "cases": cases,
        "semivariances": {"longest": 60.0, "gamma": list(map(float, gamma)), "pairs": list(map(int, pairs))},
    },
    sys.stdout,
)
