"""The fit of wear_fit.rs by statsmodels, timed: its input on standard input, figures and seconds as JSON on standard output.

Timed is the fit alone, from arrays in memory, at statsmodels' own settings but for the two random effects, which are
independent; the median of seven. Hours are given in hundreds, at which its search does better.
"""

import json
import statistics
import sys
import time
import warnings

import numpy as np
import statsmodels
from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams


def main():
    groups = json.load(sys.stdin)["groups"]
    member = np.repeat(np.arange(len(groups)), [len(group["readings"]) for group in groups])
    hours = np.array([one["hours"] for group in groups for one in group["readings"]]) / 100
    value = np.array([one["value"] for group in groups for one in group["readings"]])
    effects = np.column_stack([np.ones_like(hours), -hours])
    independent = MixedLMParams.from_components(fe_params=np.ones(2), cov_re=np.eye(2))
    times = []
    warnings.simplefilter("ignore")
    for _ in range(7):
        began = time.perf_counter()
        fit = MixedLM(value, effects, member, exog_re=effects).fit(reml=True, free=independent)
        times.append(time.perf_counter() - began)
    figures = {
        "as_new": fit.fe_params[0],
        "as_new_sd": np.sqrt(fit.cov_re[0, 0]),
        "rate": fit.fe_params[1] / 100,
        "rate_sd": np.sqrt(fit.cov_re[1, 1]) / 100,
        "reading_sd": np.sqrt(fit.scale),
        "seconds": statistics.median(times),
    }
    print(json.dumps({"made_by": f"statsmodels {statsmodels.__version__}"} | {k: float(v) for k, v in figures.items()}))


main()
