"""What the reference libraries answer, for the tests beside this file.

    python -m venv /tmp/reference && /tmp/reference/bin/pip install -r requirements.txt
    /tmp/reference/bin/python make.py > expected.json

Each case of a calculation is its input as POST /v1/calculations/{name} takes it and what scipy or numpy answer: by their
distributions where they have them, by adaptive quadrature or plain enumeration where not. No formula is taken from the
project's code. Inputs come from seeded generators, so the file is the same on every run. `mixed_lm` has what statsmodels
answers to the cases of wear-fit, each after the number of its case; `weibull_min` and `weibull_fitter` what scipy's and
lifelines' own fits answer to those of life-fit.
"""

import itertools
import json
import os
import sys

# Small matrices: threads would only wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import lifelines
import numpy as np
import numpy_financial
import scipy
import statsmodels
from scipy import special, stats

import fleet
import life_fit
import machine
import plans
import renew
import wear_fit

SHAPES = [0.01, 0.3, 1.0, 2.5, 17.0, 300.0, 10000.0]
CHANCES = [1e-12, 1e-6, 0.01, 0.1, 0.5, 0.9, 0.999, 1 - 1e-9, 1 - 1e-12]


def special_functions():
    beta, beta_quantile, gamma_quantile = [], [], []
    for a, b, p in itertools.product(SHAPES, SHAPES, CHANCES):
        x = float(special.betaincinv(a, b, p))
        # Where the quantile is 0 or next to 1 a double cannot tell it apart.
        if 1e-290 < x < 1 - 1e-11:
            # Twelve digits survive any reader of JSON to the last bit.
            short = float(f"{x:.12g}")
            beta.append([a, b, short, float(special.betainc(a, b, short))])
            if p < 0.999 or x < 0.5:
                beta_quantile.append([a, b, p, x])
    for shape, p in itertools.product(SHAPES, CHANCES):
        x = float(stats.gamma.ppf(p, shape, scale=1 / 2.5))
        if x > 1e-290:
            gamma_quantile.append([shape, 2.5, p, x])
    z = [-37.0, -12.5, -6.0, -3.0, -1.0, -0.1, 0.0, 0.25, 1.0, 2.0, 5.0, 8.0]
    normal = [[v, float(stats.norm.cdf(v))] for v in z]
    quantile = [[p, float(stats.norm.ppf(p))] for p in [1e-300, 1e-30] + CHANCES]
    student = [[t, v, float(stats.t.cdf(t, v))] for t in z + [-1e4, 1e-9] for v in [0.5, 4.0, 7.5, 60.0, 1e6]]
    student = [row for row in student if row[2] > 1e-290]
    ln_gamma = [[x, float(special.gammaln(x))] for x in [1e-6, 0.01, 0.5, 1.5, 2.5, 9.0, 100.5, 1e4, 1e9]]
    return {
        "beta_inc": beta,
        "beta_quantile": beta_quantile,
        "gamma_quantile": gamma_quantile,
        "normal_cdf": normal,
        "normal_quantile": quantile,
        "student_cdf": student,
        "ln_gamma": ln_gamma,
    }


def plain(value):
    """numpy's numbers as Python's."""
    if isinstance(value, dict):
        return {key: plain(entry) for key, entry in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(entry) for entry in value]
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, np.integer):
        return int(value)
    if isinstance(value, np.floating):
        return float(value)
    return value


CALCULATIONS = [
    machine.running_hours,
    machine.wear,
    machine.wear_season,
    machine.life,
    machine.breaks,
    machine.starts,
    machine.start_fit,
    fleet.needed_rate,
    fleet.depot,
    fleet.season,
    fleet.spares,
    wear_fit.wear_fit,
    plans.plan,
    life_fit.life_fit,
    renew.renew,
]


def main():
    out = sys.stdout
    libraries = [np, scipy, statsmodels, lifelines, numpy_financial]
    made_by = ", ".join(f"{library.__name__} {library.__version__}" for library in libraries)
    out.write('{\n"made_by": ' + json.dumps(made_by))
    out.write(',\n"special": {\n')
    tables = special_functions()
    out.write(",\n".join(f'"{name}": {json.dumps(plain(rows))}' for name, rows in tables.items()))
    out.write('\n},\n"found_failed": [\n')
    out.write(",\n".join(json.dumps(plain(list(case))) for case in machine.found_failed()))
    out.write('\n],\n"mixed_lm": [\n')
    out.write(",\n".join(json.dumps(plain(list(case))) for case in wear_fit.mixed_lm()))
    for fits in (life_fit.weibull_min, life_fit.weibull_fitter):
        out.write('\n],\n"' + fits.__name__ + '": [\n')
        out.write(",\n".join(json.dumps(plain(list(case))) for case in fits()))
    out.write('\n],\n"calculations": [\n')
    lines = []
    for calculation in CALCULATIONS:
        name = calculation.__name__.replace("_", "-")
        for given, answer in calculation():
            lines.append(json.dumps(plain({"name": name, "input": given, "output": answer})))
    out.write(",\n".join(lines))
    out.write("\n]\n}\n")


if __name__ == "__main__":
    main()
