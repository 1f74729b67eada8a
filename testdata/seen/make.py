"""Writes problems.json: bounded least squares as a general solver sees them.

    python3 make.py > problems.json

A row of pixels lights a line of points by Gaussians of a width; three dies a
pixel mix a colour. Without a budget scipy.optimize.lsq_linear (method bvls)
solves for the dies' duties in 0..1; with one, scipy.optimize.minimize (SLSQP)
does. Stored with scipy 1.10.1 and numpy 1.24.2.
"""
import json
import numpy as np
from scipy.optimize import lsq_linear, minimize

rng = np.random.default_rng(7)
dies = np.array([[0.55, 0.02, 0.0], [0.36, 0.70, 0.05], [0.02, 0.10, 0.90]])  # channel by die
problems = []
for n, width, budget in [(5, 0.6, None), (8, 0.9, None), (12, 1.3, None), (8, 0.9, 0.5), (12, 1.1, 0.3), (10, 0.7, 0.7)]:
    points = np.linspace(-1, n, 4 * n)
    k = np.exp(-((points[:, None] - np.arange(n)[None, :]) ** 2) / (2 * width**2))
    target = np.clip(rng.normal(0.5, 0.5, (len(points), 3)), 0, 1.2)
    # Unknowns: pixel after pixel, die after die.
    a = np.einsum("gp,cd->gcpd", k, dies).reshape(len(points) * 3, n * 3)
    t = target.reshape(-1)
    cost = np.tile([1.0, 1.2, 0.9], n)
    plain = lsq_linear(a, t, (0, 1), method="bvls", tol=1e-12, max_iter=2000)
    x, limit = plain.x, None
    if budget is not None:
        limit = budget * float(cost @ x)
        h, g = a.T @ a, a.T @ t
        best = minimize(lambda x: 0.5 * x @ h @ x - g @ x, np.full(n * 3, 0.1), jac=lambda x: h @ x - g, method="SLSQP",
                        bounds=[(0, 1)] * (n * 3), constraints={"type": "ineq", "fun": lambda x: limit - cost @ x, "jac": lambda x: -cost},
                        options={"ftol": 1e-12, "maxiter": 2000})
        assert best.success, best.message
        x = best.x
    problems.append({
        "pixels": n, "gram": (k.T @ k).tolist(), "dies": dies.T.tolist(), "asked": (k.T @ target).tolist(),
        "cost": cost.tolist(), "limit": limit, "x": x.tolist(), "objective": float(0.5 * np.sum((a @ x - t) ** 2)), "target": float(0.5 * t @ t),
    })
print(json.dumps(problems))
