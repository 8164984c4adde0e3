"""Cases of what to fix first, by scipy.optimize.milp (HiGHS)."""

import itertools
import math

import numpy as np
from scipy import optimize

from fleet import enumerate_depot

# A generator of its own, so that other cases stay as they were.
RANDOM = np.random.default_rng(20251128)


def knapsack():
    """One machine a depot with one job: gains add up over depots, and it is the plain 0-1 knapsack. Factors of the chance
    are whole thousandths, so that no two plans differ by rounding only."""
    for number in range(16):
        depots, gains, minutes = [], [], []
        for depot in range(int(RANDOM.integers(3, 40))):
            now = int(RANDOM.integers(0, 900))
            after = int(RANDOM.integers(now + 1, 1001))
            weight = float(RANDOM.integers(1, 5))
            labour, travel = 5.0 * int(RANDOM.integers(1, 60)), 5.0 * int(RANDOM.integers(0, 12))
            job = {"id": f"{depot:02}", "minutes": labour, "now": now / 1000, "after": after / 1000}
            unit = {"rest": 1.0, "rate": 800.0, "jobs": [job]}
            depots.append({"needed_rate": 600.0, "weight": weight, "travel_minutes": travel, "units": [unit]})
            gains.append(weight * (after - now) / 1000)
            minutes.append(labour + travel)
        at_hand = float(math.floor(sum(minutes) * RANDOM.uniform(0.05, 0.9)))
        best = optimize.milp(
            -np.array(gains),
            constraints=optimize.LinearConstraint(np.array(minutes), ub=at_hand),
            integrality=np.ones(len(gains)),
            bounds=optimize.Bounds(0, 1),
            options={"mip_rel_gap": 0.0},
        )
        yield {"depots": depots, "minutes": at_hand}, {"gain": -best.fun}


def chance(depot, done):
    """Over all outcomes of its machines, with these jobs done."""
    units = []
    for unit in depot["units"]:
        works = unit["rest"]
        for job in unit["jobs"]:
            works *= job["after"] if job["id"] in done else job["now"]
        units.append({"works": works, "rate": unit["rate"]})
    return enumerate_depot(units, depot["needed_rate"], depot.get("operators"))[0]


def some_depot(number):
    units = [
        {"rest": round(float(RANDOM.uniform(0.6, 1)), 3), "rate": float(RANDOM.integers(40, 130) * 10), "jobs": []}
        for _ in range(RANDOM.integers(2, 6))
    ]
    for job in range(RANDOM.integers(1, 7)):
        held = RANDOM.random() < 0.4
        now = 0.0 if held else round(float(RANDOM.uniform(0.3, 0.9)), 3)
        units[RANDOM.integers(len(units))]["jobs"].append(
            {
                "id": f"{number}-{job}",
                "minutes": 5.0 * int(RANDOM.integers(1, 40)),
                "now": now,
                "after": round(now + (1 - now) * float(RANDOM.uniform(0.5, 1)), 3),
            }
        )
    needed = 10 * math.floor(sum(u["rate"] for u in units) * RANDOM.uniform(0.3, 0.95) / 10)
    depot = {
        "needed_rate": float(needed),
        "weight": float(RANDOM.integers(1, 4)),
        "travel_minutes": 10.0 * int(RANDOM.integers(0, 9)),
        "units": units,
    }
    if RANDOM.random() < 0.5:
        depot["operators"] = int(RANDOM.integers(1, len(units) + 1))
    return depot


def subsets():
    """Several machines and jobs a depot: every subset of a depot's jobs is one variable, one of them chosen for each depot."""
    for _ in range(16):
        depots = [some_depot(number) for number in range(RANDOM.integers(2, 6))]
        gains, minutes, rows = [], [], []
        for row, depot in enumerate(depots):
            jobs = [job for unit in depot["units"] for job in unit["jobs"]]
            before = chance(depot, set())
            for size in range(len(jobs) + 1):
                for some in itertools.combinations(jobs, size):
                    gains.append(depot["weight"] * (chance(depot, {job["id"] for job in some}) - before))
                    travel = depot["travel_minutes"] if some else 0.0
                    minutes.append(travel + sum(job["minutes"] for job in some))
                    rows.append(row)
        every = sum(d["travel_minutes"] + sum(j["minutes"] for u in d["units"] for j in u["jobs"]) for d in depots)
        at_hand = float(math.floor(every * RANDOM.uniform(0.15, 0.8)))
        one_each = (np.arange(len(depots))[:, None] == np.array(rows)[None, :]).astype(float)
        best = optimize.milp(
            -np.array(gains),
            constraints=[
                optimize.LinearConstraint(np.array(minutes), ub=at_hand),
                optimize.LinearConstraint(one_each, lb=1, ub=1),
            ],
            integrality=np.ones(len(gains)),
            bounds=optimize.Bounds(0, 1),
            options={"mip_rel_gap": 0.0},
        )
        yield {"depots": depots, "minutes": at_hand}, {"gain": -best.fun}


def plan():
    yield from knapsack()
    yield from subsets()
