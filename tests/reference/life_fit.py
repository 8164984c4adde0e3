"""Cases of life-fit: lives of all kinds, drawn and from the literature, and what is likeliest of them.

`life_fit` maximises the likelihood as books write it by Newton's method on derivatives that autograd takes, so that shape,
scale and standard errors are good to the last digits. `weibull_min` and `weibull_fitter` are what scipy's and lifelines'
own fits answer, each after the number of its case; those stop of their own accord, after some six digits.
"""

import warnings

import autograd
import autograd.numpy as anp
import lifelines
import numpy as np
from scipy import optimize, stats

# A generator of its own, so that other cases stay as they were.
RANDOM = np.random.default_rng(1956)

# Hours to failure of ten motorettes at each of 190, 170 and 220 degC, those not failed still running at the end (Schmee &
# Hahn 1979, A Simple Method for Regression Analysis with Censored Data, Technometrics 21(4); from memory).
MOTORETTES = [
    ([408, 408, 1344, 1344, 1440], [1680] * 5),
    ([1764, 2772, 3444, 3542, 3780, 4860, 5196], [5448] * 3),
    ([408, 408, 504, 504, 504], [528] * 5),
]

# Turbine wheels found cracked, and not, at one inspection each, by hundreds of hours run (Nelson, Applied Life Data
# Analysis, 1982, chapter 9; from memory).
WHEELS = [
    (4, 0, 39),
    (10, 4, 49),
    (14, 2, 31),
    (18, 7, 66),
    (22, 5, 25),
    (26, 9, 30),
    (30, 9, 33),
    (34, 6, 7),
    (38, 22, 12),
    (42, 21, 19),
    (46, 21, 15),
]


def dated(exit, failed, entry=0.0):
    return {"entry": float(entry), "exit": float(exit), "failed": bool(failed)}


def found(entry, sound, found):
    return {"entry": float(entry), "sound": float(sound), "found": float(found)}


def some_lives(kind):
    """Lives from a Weibull distribution: watched from new; or that came to us used; or inspected now and then; or both."""
    shape = float(np.exp(RANDOM.uniform(np.log(0.4), np.log(8))))
    scale = float(np.exp(RANDOM.uniform(np.log(0.5), np.log(5000))))
    histories, found_failed = [], []
    while sum(h["failed"] for h in histories) + len(found_failed) < 3 or len(histories) + len(found_failed) < 12:
        entry = scale * RANDOM.uniform(0, 0.8) if kind in ("used", "both") and RANDOM.random() < 0.6 else 0.0
        life = scale * RANDOM.weibull(shape)
        if life <= entry:
            continue
        until = entry + scale * RANDOM.uniform(0.2, 2)
        round_to = 4 - int(np.floor(np.log10(scale)))
        entry, life, until = (round(float(age), round_to) for age in (entry, life, until))
        if life >= until:
            histories.append(dated(until, False, entry))
        elif kind in ("inspected", "both") and RANDOM.random() < 0.6:
            every = round(scale / 4, round_to)
            before = entry + every * np.floor((life - entry) / every)
            found_failed.append(found(entry, round(before, round_to), round(before + every, round_to)))
        elif entry < life:
            histories.append(dated(life, True, entry))
    case = {"histories": histories}
    if found_failed:
        case["found_failed"] = found_failed
    return case


def cases():
    for failed, sound in MOTORETTES:
        yield {"histories": [dated(age, True) for age in failed] + [dated(age, False) for age in sound]}
    yield {
        "histories": [dated(age, False) for age, _, sound in WHEELS for _ in range(sound)],
        "found_failed": [found(0, 0, age) for age, cracked, _ in WHEELS for _ in range(cracked)],
    }
    # Cohort data that lifelines carries (MIT licence): years from infection to AIDS, watched from some time after it on.
    cohort = lifelines.datasets.load_multicenter_aids_cohort_study()
    yield {
        "histories": [
            dated(exit, failed, entry) for entry, exit, failed in zip(cohort["W"], cohort["T"], cohort["D"])
        ]
    }
    # Nearly all at one age, and over many decades.
    yield {"histories": [dated(100 + x / 10, True) for x in (0, 1, 2, 3, 5)] + [dated(100.45, False)]}
    yield {"histories": [dated(10.0**x, True) for x in range(-9, 7)] + [dated(1e7, False)]}
    for number in range(36):
        yield some_lives(["new", "used", "inspected", "both"][number % 4])


CASES = list(cases())


def ages(case):
    histories, found_failed = case["histories"], case.get("found_failed", [])
    column = lambda rows, name: np.array([row[name] for row in rows], dtype=float)
    return (
        column(histories, "entry"),
        column(histories, "exit"),
        np.array([row["failed"] for row in histories], dtype=bool),
        column(found_failed, "entry"),
        column(found_failed, "sound"),
        column(found_failed, "found"),
    )


def log_likelihood(ln, case):
    entry, exit, failed, found_entry, sound, found = ages(case)
    shape, scale = anp.exp(ln[0]), anp.exp(ln[1])

    def hazard(age):
        # The cumulative hazard; the power of 0 has no derivative that autograd could take.
        return anp.where(age > 0, (anp.where(age > 0, age, 1.0) / scale) ** shape, 0.0)

    total = -anp.sum(hazard(exit)) + anp.sum(hazard(entry))
    ends = exit[failed]
    total = total + anp.sum(ln[0] - ln[1] + (shape - 1) * (anp.log(ends) - ln[1]))
    between = anp.log(-anp.expm1(hazard(sound) - hazard(found)))
    return total + anp.sum(hazard(found_entry) - hazard(sound) + between)


def likeliest(case):
    target = lambda ln: -log_likelihood(ln, case)
    _, exit, failed, _, _, found = ages(case)
    ends = np.log(np.concatenate([exit[failed], found]))
    best = None
    # From where it is flat to where it is steep; what a search overflows on is no top.
    for shape in (0.3, 3.0, 300.0):
        with np.errstate(all="ignore"):
            at = optimize.minimize(target, np.array([np.log(shape), ends.mean()]), method="Nelder-Mead")
        if best is None or at.fun < best.fun:
            best = at
    ln = best.x
    gradient, hessian = autograd.grad(target), autograd.hessian(target)
    for _ in range(5):
        ln = ln - np.linalg.solve(hessian(ln), gradient(ln))
    errors = np.sqrt(np.diag(np.linalg.inv(hessian(ln))))
    shape, scale = np.exp(ln)
    return {
        "shape": shape,
        "scale": scale,
        "log_likelihood": float(log_likelihood(ln, case)),
        "standard_errors": {"shape": shape * errors[0], "scale": scale * errors[1]},
    }


def life_fit():
    for case in CASES:
        yield case, likeliest(case)


def weibull_min():
    """scipy knows no late entry."""

    def search(target, start, args, disp):
        return optimize.fmin(target, start, args=args, disp=disp, xtol=1e-10, ftol=1e-12, maxiter=4000, maxfun=4000)

    for number, case in enumerate(CASES):
        entry, exit, failed, found_entry, sound, found = ages(case)
        if np.any(entry > 0) or np.any(found_entry > 0):
            continue
        data = stats.CensoredData(
            uncensored=exit[failed], right=exit[~failed], interval=np.column_stack([sound, found]) if len(found) else None
        )
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            start = np.concatenate([exit[failed], found])
            shape, _, scale = stats.weibull_min.fit(data, 1.0, floc=0, scale=np.median(start), optimizer=search)
        yield number, {"shape": shape, "scale": scale}


def weibull_fitter():
    for number, case in enumerate(CASES):
        entry, exit, failed, found_entry, sound, found = ages(case)
        if number in (5, 6):
            # Its search does not come to an end with shapes of hundreds, or of a twentieth.
            continue
        fitter = lifelines.WeibullFitter()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            if len(found):
                lower = np.concatenate([exit, sound])
                upper = np.concatenate([np.where(failed, exit, np.inf), found])
                late = np.concatenate([entry, found_entry])
                fitter.fit_interval_censoring(lower, upper, entry=late if np.any(late > 0) else None)
            else:
                fitter.fit(exit, failed, entry=entry if np.any(entry > 0) else None)
        yield number, {
            "shape": fitter.rho_,
            "scale": fitter.lambda_,
            "log_likelihood": fitter.log_likelihood_,
            "standard_errors": {
                "shape": fitter.summary.loc["rho_", "se(coef)"],
                "scale": fitter.summary.loc["lambda_", "se(coef)"],
            },
        }
