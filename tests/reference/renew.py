"""Repair or renew, by numpy-financial's loan payments and present values, numpy's least squares and scipy's Student.

The line of a machine's winters by its age is fitted as least squares with two more rows, one for each stated figure, weighted
by how far machines differ in it (of one model half as far as of all); the scatter from what is left over. No formula is taken from the project's code.
"""

import itertools

import numpy as np
import numpy_financial as npf
from scipy import stats


def fitted(stated, spread, variance, winters):
    """Line, its covariance over the scatter's variance, and shape and scale of that variance."""
    rows = [[1, 0], [0, 1]] + [[1, winter - 1] for winter, _ in winters]
    values = list(stated) + [cost for _, cost in winters]
    weights = np.array([np.sqrt(variance) / sd for sd in spread] + [1.0] * len(winters))
    rows, values = np.array(rows, float) * weights[:, None], np.array(values) * weights
    line, *_ = np.linalg.lstsq(rows, values, rcond=None)
    left = float(np.sum((values - rows @ line) ** 2))
    covariance = np.linalg.pinv(rows) @ np.linalg.pinv(rows).T
    # Four winters' worth of the stated scatter, with that mean.
    return line, covariance, 2 + len(winters) / 2, variance + left / 2


def annual(first, costs, back, rate):
    """Equal sums at the years' ends for each life."""
    lives = []
    for years in range(1, len(costs) + 1):
        flows = [first] + list(costs[:years])
        flows[-1] -= back[years]
        worth = npf.npv(rate, flows) if rate else sum(flows)
        lives.append(-npf.pmt(rate, years, worth))
    return lives


def answer(given):
    price, rate, longest = given["price"], given["discount_rate"], given["years"]
    expected, age = given["expected"], given["age"]
    stated = np.array([expected["first"], expected["rise"]]) * price
    # Fleets are told by age; here each winter stands for itself.
    others = [
        (of_age["winter"], of_age["mean"] + sign * of_age["sd"])
        for of_age in given["fleet"]
        for sign in ([-1, 1] if of_age["count"] == 2 else [0])
    ]
    line, _, shape, scale = fitted(stated, stated, (expected["scatter"] * price) ** 2, others)
    own_costs = [
        (
            winter["winter"],
            winter["parts"] + winter["labour_minutes"] / 60 * given["labour_per_hour"]
            + winter["out_days"] * given["hire_per_day"],
        )
        for winter in given["winters"]
    ]
    own, covariance, own_shape, own_scale = fitted(line, stated / 2, scale / (shape - 1), own_costs)
    value = [price * given["resale_kept"] ** years for years in range(age + longest + 1)]
    cost = lambda line, winter: max(line[0] + line[1] * (winter - 1), 0.0)
    new = annual(price, [cost(line, year) for year in range(1, longest + 1)], value, rate)
    # Until it is as old as one is to grow; one year more of what is older.
    left = max(1, longest - age)
    kept = [cost(own, age + year) for year in range(1, left + 1)]
    keep = annual(value[age] + given["repair_now"], kept, value[age:], rate)
    years = int(np.argmin(keep)) + 1
    # What the annual cost is of each of the line's two figures.
    ones = [1.0] * years
    per = [annual(0, ones, [0] * (years + 1), rate)[-1],
           annual(0, [age + year for year in range(years)], [0] * (years + 1), rate)[-1]]
    spread = np.sqrt(np.array(per) @ covariance @ np.array(per) * own_scale / own_shape)
    room = min(new) - min(keep)
    hours = sum(winter["run_hours"] for winter in given["winters"])
    return {
        "verdict": "renew" if room < 0 else "repair",
        "keep": {"annual_cost": min(keep), "years": years},
        "new": {"annual_cost": min(new), "years": int(np.argmin(new)) + 1},
        "renewing_saves": -room,
        "chance_keeping_is_cheaper": stats.t.cdf(room / spread, 2 * own_shape),
        "cost_per_running_hour": sum(cost for _, cost in own_costs) / hours if hours else None,
        "winter_cost": {
            "first": own[0],
            "rise": own[1],
            "rise_sd": stats.t(2 * own_shape, scale=np.sqrt(covariance[1, 1] * own_scale / own_shape)).std(),
            "scatter": stats.invgamma(own_shape, scale=own_scale).mean() ** 0.5,
        },
        "winter_cost_new": {"first": line[0], "rise": line[1]},
        "by_years": [{"keep": a, "new": b} for a, b in itertools.zip_longest(keep, new)],
    }


def renew():
    draw = np.random.default_rng(20261128)
    for case in range(40):
        price = float(np.round(draw.uniform(300, 20_000), 2))
        age = int(draw.integers(0, 25))
        # No costs fall with age here: where a line would go under nothing, nothing is what a winter costs.
        grows = lambda winter: price * (0.02 + 0.015 * winter) * draw.lognormal(0, 0.4)
        own = [
            {
                "winter": winter,
                "parts": round(grows(winter), 2),
                "labour_minutes": int(draw.integers(0, 600)),
                "out_days": int(draw.integers(0, 9)),
                "run_hours": round(draw.uniform(5, 60), 1),
            }
            for winter in range(max(1, age - int(draw.integers(0, 8))), age + 1)
        ]
        fleet = [
            {
                "winter": winter,
                "count": int(draw.integers(1, 3)),
                "mean": round(grows(winter), 2),
                "sd": round(price * draw.uniform(0, 0.01), 2),
            }
            for winter in range(1, int(draw.integers(2, 20)))
        ] if case % 4 else []
        for of_age in fleet:
            if of_age["count"] == 1:
                of_age["sd"] = 0.0
        given = {
            "price": price,
            "age": age,
            "resale_kept": round(draw.uniform(0, 1), 3),
            "discount_rate": 0.0 if case % 5 == 0 else round(draw.uniform(0.001, 0.2), 4),
            "years": int(draw.integers(1, 31)),
            "repair_now": round(draw.uniform(0, price / 4), 2) if case % 2 else 0.0,
            "labour_per_hour": round(draw.uniform(20, 120), 2),
            "hire_per_day": round(draw.uniform(0, price / 20), 2),
            "expected": {"first": 0.03, "rise": 0.015, "scatter": [0.1, 0.3][case % 2]},
            "winters": own,
            "fleet": fleet,
        }
        yield given, answer(given)
