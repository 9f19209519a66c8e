"""How well squares of ground stand for the errors of kriged cells: `python tests/truth/study_ground_between.py` (numpy, scipy).

Made fields of 9 ha with parallel passes, a reading every 2 m, exponential covariance, ordinary kriging of cells from their 24 nearest readings. The variance of
the field's mean error is worked out from the weights, cell by cell with every other, and set against three short cuts: every cell alone, all cells together, and
squares over which the errors are alike. Prints the figures of docs/concepts/uncertainty.md.
"""
import numpy as np
from scipy.spatial import cKDTree

SIDE, STEP, NEAR = 300.0, 2.0, 24


def study(cell, passes, length, nugget):
    cov = lambda h: np.exp(-h / length)
    far = lambda a, b: np.linalg.norm(a[:, None] - b[None], axis=2)
    read = np.array([(x, y) for x in np.arange(passes / 2, SIDE, passes) for y in np.arange(1, SIDE, STEP)])
    grid = np.arange(cell / 2, SIDE, cell)
    cells = np.array([(x, y) for x in grid for y in grid])
    part = (np.arange(4) + 0.5) / 4 * cell - cell / 2
    block = np.array([(u, v) for u in part for v in part])
    within = cov(far(block, block)).mean()
    tree, n = cKDTree(read), len(cells)
    weights, error = np.zeros((n, len(read))), np.zeros(n)
    to_read = sum(cov(far(read, cells + place)) for place in block) / len(block)
    for k in range(n):
        near = tree.query(cells[k], NEAR)[1]
        c = cov(far(read[near], cells[k] + block)).mean(1)
        a = np.ones((NEAR + 1, NEAR + 1))
        a[:NEAR, :NEAR] = cov(far(read[near], read[near])) + nugget * np.eye(NEAR)
        a[NEAR, NEAR] = 0
        w = np.linalg.solve(a, np.r_[c, 1])
        weights[k, near] = w[:-1]
        error[k] = np.sqrt(max(0, within - w[:-1] @ c - w[-1]))
    steps, times = np.unique(np.round((block[:, None] - block[None]).reshape(-1, 2), 6), axis=0, return_counts=True)
    between = sum(t * cov(far(cells + step, cells)) for step, t in zip(steps, times)) / times.sum()
    cross = weights @ to_read
    errors = between - cross - cross.T + weights @ (cov(far(read, read)) + nugget * np.eye(len(read))) @ weights.T
    exact = np.sqrt(max(errors.sum(), 0)) / n
    close = far(cells, cells) <= np.sqrt(400 * cell * cell / np.pi)
    looked = range(0, n, max(1, n // 24))
    side = np.sqrt(np.mean([max(1, errors[k][close[k]].sum() / errors[k, k]) for k in looked])) * cell
    square = np.floor(cells / side).astype(int) @ [10_000, 1]
    squares = np.sqrt(sum(error[square == s].sum() ** 2 for s in np.unique(square))) / n
    return exact, np.sqrt((error**2).sum()) / n / exact, error.mean() / exact, squares / exact, side


print("cells, passes, range [m], nugget/sill: SD of the mean in SDs of the ground; over it: each alone, all together, squares; side [m]")
for cell in (12, 24):
    for passes in (12, 24, 36, 60):
        for length in (8, 15, 30, 60):
            for nugget in (0.1, 1.0):
                print(cell, passes, 3 * length, nugget, "%.4f: %.2f %.1f %.2f %.0f" % study(cell, passes, length, nugget))
