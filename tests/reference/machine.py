"""Cases of one machine: running hours, wear, life, breaks, starts."""

import math

import numpy as np
from scipy import integrate, optimize, stats

from draw import RANDOM, pick, pick_log


def usage_of(use):
    k = use["shape"]
    a = k * (use["prior_days"] + use["snow_days"]) + 1
    b = use["prior_days"] * use["prior_hours_per_day"] + use["run_hours"]
    return k, a, b


def some_usage():
    snow_days = float(RANDOM.integers(0, 60))
    per_day = pick(1, 6)
    return {
        "shape": float(RANDOM.choice([1.0, 1.0, 0.5, 2.0])),
        "prior_days": pick(1, 20),
        "prior_hours_per_day": pick(1, 6),
        "run_hours": round(snow_days * per_day, 1),
        "snow_days": snow_days,
    }


def running_hours():
    for _ in range(40):
        use = some_usage()
        k, a, b = usage_of(use)
        days = float(RANDOM.integers(1, 70))
        at = pick(0.2, 2.5) * days * k * b / (a - 1)
        law = stats.betaprime(k * days, a, scale=b)
        yield dict(use, future_days=days, at_hours=at), {
            "at_most": law.cdf(at),
            "hours_per_day": k * b / (a - 1),
            "p10": law.ppf(0.1),
            "p50": law.ppf(0.5),
            "p90": law.ppf(0.9),
        }


def posterior(case):
    """By conditioning the joint normal of (A, B) and the readings, not by the normal equations."""
    sign = -1.0 if case.get("grows") else 1.0
    prior = case["prior"]
    mean = np.array([sign * prior["as_new"], prior["rate"]])
    cov = np.diag([prior["as_new_sd"] ** 2, prior["rate_sd"] ** 2])
    if case["readings"]:
        h = np.array([r["hours"] for r in case["readings"]])
        y = sign * np.array([r["value"] for r in case["readings"]])
        x = np.column_stack([np.ones_like(h), -h])
        total = x @ cov @ x.T + prior["reading_sd"] ** 2 * np.eye(len(h))
        gain = cov @ x.T @ np.linalg.inv(total)
        mean = mean + gain @ (y - x @ mean)
        cov = cov - gain @ x @ cov
    limit = sign * case["limit"]

    def score(hours):
        variance = cov[0, 0] - 2 * hours * cov[0, 1] + hours**2 * cov[1, 1]
        return (mean[0] - mean[1] * hours - limit) / np.sqrt(variance)

    covariance = [[cov[0, 0], sign * cov[0, 1]], [sign * cov[0, 1], cov[1, 1]]]
    return sign * mean[0], mean[1], covariance, score


def some_wear(rate_doubt):
    """A part wearing from 6 to a limit of 1.5 in some 100 h, read up to 8 times."""
    rate = pick_log(0.02, 0.1)
    case = {
        "prior": {
            "as_new": 6.0,
            "as_new_sd": pick(0.1, 0.5),
            "rate": rate,
            "rate_sd": float(f"{rate * rate_doubt:.3g}"),
            "reading_sd": pick(0.05, 0.3),
        },
        "readings": [],
        "limit": 1.5,
    }
    true_rate = max(0.2 * rate, rate * (1 + rate_doubt * RANDOM.standard_normal()))
    for hours in RANDOM.uniform(0, 60, RANDOM.integers(0, 9)):
        value = 6.0 - true_rate * hours + case["prior"]["reading_sd"] * RANDOM.standard_normal()
        case["readings"].append({"hours": round(float(hours), 1), "value": round(float(value), 2)})
    if RANDOM.random() < 0.3:
        case["grows"] = True
        case["prior"]["as_new"] = -6.0
        case["limit"] = -1.5
        for reading in case["readings"]:
            reading["value"] = -reading["value"]
    return case


def wear():
    for _ in range(30):
        case = some_wear(pick(0.1, 0.4))
        case["at_hours"] = [0.0, 12.5, pick(20, 60), 110.0, 1000.0]
        as_new, rate, covariance, score = posterior(case)
        yield case, {
            "as_new": as_new,
            "rate": rate,
            "covariance": covariance,
            "lasts": [stats.norm.cdf(score(h)) for h in case["at_hours"]],
        }


def until(score, start, p):
    """First hours from start at which P(reached) is p, by a scan and a bracketing root finder."""
    goal = stats.norm.ppf(1 - p)
    if score(start) <= goal:
        return 0.0
    grid = start + np.concatenate([[0.0], np.geomspace(1e-3, 1e6, 4000)])
    below = np.nonzero(score(grid) <= goal)[0]
    if len(below) == 0:
        return None
    place = below[0]
    root = optimize.brentq(lambda h: score(h) - goal, grid[place - 1], grid[place], xtol=1e-12, rtol=1e-14)
    return root - start


def mean_survival(score, start, use, scenarios):
    k, a, b = usage_of(use)
    total = 0.0
    for days in scenarios:
        if days == 0:
            total += stats.norm.cdf(score(start))
            continue
        law = stats.betaprime(k * days, a)
        low, high = math.log(max(law.ppf(1e-15), 1e-300)), math.log(law.ppf(1 - 1e-14))
        grid = np.linspace(low, high, 400)
        values = score(start + b * np.exp(grid))
        breaks = [low, high] + [math.log(law.ppf(q)) for q in (1e-6, 1e-3, 0.1, 0.5, 0.9, 0.999)]
        # Where the part's chance falls, so that no narrow step is missed.
        for z in (5, 3, 1, 0, -1, -3, -5):
            for i in np.nonzero(np.diff(np.sign(values - z)))[0]:
                breaks.append(optimize.brentq(lambda t: score(start + b * math.exp(t)) - z, grid[i], grid[i + 1]))

        def integrand(t):
            return stats.norm.cdf(score(start + b * math.exp(t))) * law.pdf(math.exp(t)) * math.exp(t)

        breaks = sorted(set(breaks))
        # What lies under the first node is as good as no hours at all: much of it where shapes are small.
        total += law.cdf(math.exp(low)) * stats.norm.cdf(score(start))
        total += sum(
            integrate.quad(integrand, left, right, epsabs=1e-12, epsrel=1e-11, limit=200)[0]
            for left, right in zip(breaks, breaks[1:])
        )
    return total / len(scenarios)


def wear_season():
    for number in range(60):
        case = some_wear(pick(0.1, 0.4))
        use = some_usage()
        if number % 6 == 4:
            # Wear known almost exactly: the chance falls within a fraction of an hour.
            case["prior"]["reading_sd"] = 0.001
            case["prior"]["as_new_sd"] = 0.002
            case["prior"]["rate_sd"] = float(f"{case['prior']['rate'] * 1e-3:.3g}")
            case["readings"] = []
        if number % 6 == 5:
            use["shape"] = 0.02
        worst = max([r["hours"] for r in case["readings"]], default=0.0)
        scenarios = [float(d) for d in RANDOM.integers(0, 45, RANDOM.integers(1, 6))]
        case.update({"from_hours": round(worst + pick(0, 30), 1), "usage": use, "scenarios": scenarios})
        _, _, _, score = posterior(case)
        yield case, {
            "lasts": mean_survival(score, case["from_hours"], use, scenarios),
            "hours_p10": until(score, case["from_hours"], 0.1),
            "hours_p50": until(score, case["from_hours"], 0.5),
            "hours_p90": until(score, case["from_hours"], 0.9),
        }
    yield from wear_season_of_unknown_age()


def wear_season_of_unknown_age():
    """Anything between new and worn out, read a few times some time on, asked about from before that or from then on: a
    chance that need not only fall. A generator of its own, so that other cases stay as they were."""
    random = np.random.default_rng(8)
    for number in range(40):
        rate = round(random.uniform(0.005, 0.1), 4)
        case = {
            "prior": {
                "as_new": 3.75,
                "as_new_sd": 4.5,
                "rate": rate,
                "rate_sd": float(f"{rate * random.uniform(0.2, 2):.3g}"),
                "reading_sd": round(random.uniform(0.02, 0.3), 3),
            },
            "readings": [
                {"hours": round(random.uniform(20, 120), 1), "value": round(random.uniform(-0.5, 5.5), 2)}
                for _ in range(random.integers(1, 4))
            ],
            "limit": 1.5,
            "from_hours": 0.0 if number % 2 else round(random.uniform(0, 150), 1),
            "usage": {
                "shape": 1.0,
                "prior_days": 8.0,
                "prior_hours_per_day": 1.5,
                "run_hours": round(random.uniform(10, 90), 1),
                "snow_days": 20.0,
            },
            "scenarios": [float(days) for days in random.integers(0, 60, random.integers(1, 4))],
        }
        _, _, _, score = posterior(case)
        yield case, {
            "lasts": mean_survival(score, case["from_hours"], case["usage"], case["scenarios"]),
            "hours_p10": until(score, case["from_hours"], 0.1),
            "hours_p50": until(score, case["from_hours"], 0.5),
            "hours_p90": until(score, case["from_hours"], 0.9),
        }


def life():
    for _ in range(30):
        shape, scale, weight = pick(0.8, 4), pick(50, 400), pick(0.5, 5)
        histories = []
        for _ in range(RANDOM.integers(0, 8)):
            entry = float(RANDOM.choice([0.0, 0.0, pick(1, 80)]))
            histories.append(
                {"entry": entry, "exit": entry + pick(1, 200), "failed": bool(RANDOM.random() < 0.4)}
            )
        age, ahead = float(RANDOM.choice([0.0, pick(5, 300)])), pick(0, 60)
        alpha = weight + sum(h["failed"] for h in histories)
        beta = weight * scale**shape + sum(h["exit"] ** shape - h["entry"] ** shape for h in histories)
        gain = (age + ahead) ** shape - age**shape
        # A Weibull life whose scale^-shape is Gamma is Lomax in age^shape.
        yield {
            "shape": shape,
            "prior_scale": scale,
            "prior_weight": weight,
            "histories": histories,
            "age": age,
            "next": ahead,
        }, {"alpha": alpha, "beta": beta, "lasts": stats.lomax.sf(gain, alpha, scale=beta)}


def breaks():
    for _ in range(30):
        alpha, beta, hours = pick_log(0.2, 40), pick_log(5, 500), pick_log(0.5, 300)
        spares = int(RANDOM.integers(0, 12))
        yield {"alpha": alpha, "beta": beta, "hours": hours, "spares": spares}, {
            "enough": stats.nbinom.cdf(spares, alpha, beta / (beta + hours))
        }


def starts():
    yield {"alpha": 2.0, "beta": 300.0, "days": 240.0}, {"starts": stats.lomax.sf(240, 2, scale=300)}
    for _ in range(20):
        case = {
            "alpha": pick_log(0.3, 30),
            "beta": pick_log(20, 3000),
            "days": pick(0, 400),
            "shape": pick(0.5, 2),
            "at_once": pick(0.8, 1),
            "factor": pick(1, 3),
        }
        stood = case["factor"] * case["days"] ** case["shape"]
        yield case, {"starts": case["at_once"] * stats.lomax.sf(stood, case["alpha"], scale=case["beta"])}


def gamma_like(alpha, beta, intervals):
    """Gamma of the mean and variance of l^(alpha-1) exp(-beta l) times 1 - q exp(-l c) for each (c, q)."""

    def log_density(s):
        rate = math.exp(s)
        total = alpha * s - beta * rate
        for c, q in intervals:
            inner = -math.expm1(-rate * c) if q == 1 else 1 - q * math.exp(-rate * c)
            if inner <= 0:
                return -math.inf
            total += math.log(inner)
        return total

    grid = np.linspace(math.log(alpha / beta) - 60 / min(alpha, 1), math.log((alpha + 60 + len(intervals)) / beta) + 3, 20001)
    values = np.array([log_density(s) for s in grid])
    top = values.max()
    inside = grid[values > top - 45]
    panels = np.linspace(inside[0], inside[-1], 41)

    def moment(power):
        return sum(
            integrate.quad(
                lambda s: math.exp(log_density(s) - top + power * s), left, right, epsabs=0, epsrel=1e-12
            )[0]
            for left, right in zip(panels, panels[1:])
        )

    zeroth, first, second = moment(0), moment(1), moment(2)
    mean = first / zeroth
    variance = second / zeroth - mean**2
    return {"alpha": mean**2 / variance, "beta": mean / variance}


def start_fit():
    for number in range(24):
        case = {"alpha": pick_log(0.3, 10), "beta": pick_log(50, 3000), "tests": []}
        if number % 3:
            case.update({"shape": pick(0.7, 1.5), "at_once": pick(0.8, 0.99), "factor": pick(1, 2)})
        for _ in range(RANDOM.integers(0, 30)):
            case["tests"].append({"days": pick(3, 300), "started": bool(RANDOM.random() < 0.6)})
        k, p0, f = case.get("shape", 1.0), case.get("at_once", 1.0), case.get("factor", 1.0)
        beta = case["beta"] + sum(f * t["days"] ** k for t in case["tests"] if t["started"])
        failed = [(f * t["days"] ** k, p0) for t in case["tests"] if not t["started"]]
        yield case, gamma_like(case["alpha"], beta, failed) if failed else {"alpha": case["alpha"], "beta": beta}


def found_failed():
    """Not a calculation of its own: shape, scale and weight of the prior, parts found failed, the posterior."""
    for _ in range(12):
        shape, scale, weight = pick(1, 3), pick(50, 400), pick(0.5, 5)
        found = []
        for _ in range(RANDOM.integers(1, 8)):
            entry = float(RANDOM.choice([0.0, pick(1, 50)]))
            sound = entry + float(RANDOM.choice([0.0, pick(1, 100)]))
            found.append([entry, sound, sound + pick(1, 150)])
        beta = weight * scale**shape + sum(s**shape - e**shape for e, s, _ in found)
        answer = gamma_like(weight, beta, [(f**shape - s**shape, 1) for _, s, f in found])
        yield [shape, scale, weight, found], [answer["alpha"], answer["beta"]]
