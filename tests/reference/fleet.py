"""Cases of a depot: needed rate, score, season, spares."""

import itertools
import math

import numpy as np
from scipy import stats

from draw import RANDOM, pick, pick_log


def needed_rate():
    """The formula read literally, every candidate against every duty, with exact cycle counts in the inputs."""
    for _ in range(30):
        cycles = int(RANDOM.integers(1, 9))
        reclear = float(RANDOM.choice([25.0, 50.0, 75.0]))
        hours = float(RANDOM.choice([6.0, 9.5, 12.0, 24.0]))
        duties = [
            {"area_m2": float(RANDOM.integers(1, 80) * 100), "clear_within_h": float(RANDOM.choice([1, 2, 2.5, 4, 8, 24]))}
            for _ in range(RANDOM.integers(0, 7))
        ]
        tau = hours / cycles
        best = 0.0
        for m, duty in itertools.product(range(cycles), duties):
            instant = m * tau + duty["clear_within_h"]
            owed = sum(
                other["area_m2"]
                for other in duties
                for j in range(cycles)
                if j * tau + other["clear_within_h"] <= instant + 1e-9 * tau
            )
            best = max(best, owed / instant)
        yield {"storm_hours": hours, "depth_mm": cycles * reclear, "reclear_mm": reclear, "duties": duties}, {
            "needed_rate": best,
            "cycles": cycles,
        }


def enumerate_depot(units, needed, operators):
    enough = shortfall = 0.0
    for works in itertools.product([False, True], repeat=len(units)):
        p = math.prod(u["works"] if w else 1 - u["works"] for u, w in zip(units, works))
        rates = sorted((u["rate"] for u, w in zip(units, works) if w), reverse=True)
        total = sum(rates[:operators])
        enough += p * (total >= needed)
        shortfall += p * max(0.0, needed - total)
    return enough, shortfall


def depot():
    for _ in range(40):
        units = [
            {"works": round(float(RANDOM.random()), 3), "rate": float(RANDOM.integers(20, 160) * 10)}
            for _ in range(RANDOM.integers(0, 11))
        ]
        needed = float(RANDOM.integers(0, 700) * 10)
        case = {"units": units, "needed_rate": needed}
        operators = None
        if RANDOM.random() < 0.7:
            operators = case["operators"] = int(RANDOM.integers(0, 12))
        enough, shortfall = enumerate_depot(units, needed, operators)
        yield case, {"score": 100 * enough, "at_least": enough, "at_most": enough, "shortfall": shortfall}


def season():
    for _ in range(20):
        winters = []
        for _ in range(RANDOM.integers(5, 40)):
            first = float(RANDOM.integers(90, 200))
            winters.append({"first_day": first, "last_day": first + float(RANDOM.integers(0, 130))})
        start = np.quantile([w["first_day"] for w in winters], 0.1)
        end = np.quantile([w["last_day"] for w in winters], 0.9)
        yield {"winters": winters}, {
            "start_day": start,
            "end_day": end,
            "winters": len(winters),
            "from": "history",
        }


def spares():
    for number in range(24):
        breaks_rate = {"alpha": pick_log(0.5, 20), "beta": pick_log(20, 400)}
        level = float(RANDOM.choice([0.8, 0.95, 0.99]))
        winters = [
            {
                "wear_out": [round(float(p), 3) for p in RANDOM.random(RANDOM.integers(0, 15))],
                "hours": pick(10, 800),
            }
            for _ in range(RANDOM.integers(1, 6))
        ]
        kind = number % 3
        if kind == 0:
            case = {"wear_out": winters[0]["wear_out"], "service_level": level}
            used = [(winters[0]["wear_out"], 0.0)]
        elif kind == 1:
            case = {
                "wear_out": winters[0]["wear_out"],
                "breaks": dict(breaks_rate, hours=winters[0]["hours"]),
                "service_level": level,
            }
            used = [(winters[0]["wear_out"], winters[0]["hours"])]
        else:
            case = {"winters": winters, "breaks": breaks_rate, "service_level": level}
            used = [(w["wear_out"], w["hours"]) for w in winters]
        length = 20000
        law = np.zeros(length)
        mean = 0.0
        for wear_out, hours in used:
            worn = np.array([1.0])
            for p in wear_out:
                worn = np.convolve(worn, [1 - p, p])
            broken = np.array([1.0])
            if hours > 0:
                alpha, beta = breaks_rate["alpha"], breaks_rate["beta"]
                broken = stats.nbinom.pmf(np.arange(length), alpha, beta / (beta + hours))
                mean += hours * alpha / beta
            mean += sum(wear_out)
            both = np.convolve(worn, broken)[:length]
            law[: len(both)] += both / len(used)
        stock = int(np.nonzero(np.cumsum(law) >= level - 1e-12)[0][0])
        yield case, {"stock": stock, "mean": mean / len(used)}
    yield from common_winters()


def common_winters():
    """Many parts in common winters, by scipy's own Poisson-binomial distribution; the last is sixty belts that hardly
    outlast one winter in four."""
    cases = []
    for _ in range(11):
        winters = [
            [round(float(p), 3) for p in RANDOM.beta(0.5 + severity, 3, RANDOM.integers(1, 80))]
            for severity in RANDOM.exponential(1.0, RANDOM.integers(1, 7))
        ]
        cases.append((winters, float(RANDOM.choice([0.8, 0.95, 0.99]))))
    cases.append(([[0.95] * 60, [0.02] * 60, [0.02] * 60, [0.02] * 60], 0.95))
    for winters, level in cases:
        counts = np.arange(max(len(parts) for parts in winters) + 1)
        enough = np.mean([stats.poisson_binom.cdf(counts, parts) for parts in winters], axis=0)
        yield {"winters": [{"wear_out": parts, "hours": 0.0} for parts in winters], "service_level": level}, {
            "stock": int(np.nonzero(enough >= level - 1e-12)[0][0]),
            "mean": sum(stats.poisson_binom.mean(parts) for parts in winters) / len(winters),
        }
