"""Cases of a fleet's wear: the mixed model with an independent random intercept and slope for each group.

Two answers to each: from the whole covariance matrix of all readings (its determinant, its inverse, and the textbook
score and information of variance components, Searle, Casella & McCulloch, Variance Components, chapter 6), solved in each
corner of what can be (no spread as new, none of rates, neither, both), the likeliest taken; and statsmodels' MixedLM with
its random effects held independent. The data of sleepstudy.json are fitted as published, too.
"""

import functools
import itertools
import json
import pathlib
import warnings

import numpy as np
from scipy import optimize
from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams

# Its own draws: cases that come and go elsewhere leave these as they are.
SEED = 413

# Cases in which statsmodels' search stops short of the likeliest fit, by its own likelihood.
STOPS_SHORT = (7, 25)


def sleepstudy():
    subjects = json.loads((pathlib.Path(__file__).parent / "sleepstudy.json").read_text())["subjects"]
    return [
        {"readings": [{"hours": float(day), "value": value} for day, value in enumerate(values)]}
        for values in subjects.values()
    ]


def some_fleet(number, random):
    """Parts wearing from 6 at about 0.04 an hour: spreads of every size against the doubt of a reading, none among
    them, and from one reading of a part to seven, or as many of each at the same hours."""
    groups = int(random.integers(4, 13))
    as_new_sd = float(random.choice([0.0, 0.02, 0.1, 0.3, 1.0]))
    rate_sd = float(random.choice([0.0, 0.0005, 0.004, 0.012]))
    reading_sd = float(random.choice([0.02, 0.1, 0.3]))
    alike = number % 4 == 0
    hours_of_all = np.sort(random.uniform(0, 90, random.integers(3, 6))).round(1)
    made = []
    for _ in range(groups):
        hours = hours_of_all if alike else random.uniform(0, 90, random.integers(1, 8)).round(1)
        as_new, rate = 6 + as_new_sd * random.standard_normal(), 0.04 + rate_sd * random.standard_normal()
        values = as_new - rate * hours + reading_sd * random.standard_normal(len(hours))
        made.append({"readings": [{"hours": float(h), "value": round(float(v), 3)} for h, v in zip(hours, values)]})
    if number % 7 == 0:
        made.append({"readings": []})
    return made


class Dense:
    """The likelihood of all readings at once, of variances (as new, rates, reading)."""

    def __init__(self, case):
        sign = -1.0 if case.get("grows") else 1.0
        read = [group["readings"] for group in case["groups"] if group["readings"]]
        hours = np.array([one["hours"] for readings in read for one in readings])
        self.y = sign * np.array([one["value"] for readings in read for one in readings])
        self.x = np.column_stack([np.ones_like(hours), -hours])
        member = np.repeat(np.arange(len(read)), [len(readings) for readings in read])
        same = (member[:, None] == member[None, :]).astype(float)
        self.parts = [same, same * np.outer(hours, hours), np.eye(len(hours))]
        self.reml = case["method"] == "reml"
        self.groups, self.sign = len(read), sign

    def at(self, variances):
        total = sum(v * part for v, part in zip(variances, self.parts))
        inverse = np.linalg.inv(total)
        information = self.x.T @ inverse @ self.x
        covariance = np.linalg.inv(information)
        through = inverse - inverse @ self.x @ covariance @ self.x.T @ inverse
        line = covariance @ self.x.T @ inverse @ self.y
        pulled = through @ self.y
        minus_two = np.linalg.slogdet(total)[1] + self.y @ pulled
        if self.reml:
            minus_two += np.linalg.slogdet(information)[1] + (len(self.y) - 2) * np.log(2 * np.pi)
        else:
            minus_two += len(self.y) * np.log(2 * np.pi)
        return minus_two, inverse, through, line, covariance, pulled

    def score(self, variances, free):
        _, inverse, through, _, _, pulled = self.at(variances)
        by = through if self.reml else inverse
        return np.array([np.sum(by * self.parts[j]) - pulled @ self.parts[j] @ pulled for j in free])

    def curvature(self, variances, free):
        _, inverse, through, _, _, pulled = self.at(variances)
        by = through if self.reml else inverse
        moved = [by @ self.parts[j] for j in free]
        pulls = [self.parts[j] @ pulled for j in free]
        return np.array(
            [
                [2 * a @ through @ b - np.sum(left * right.T) for right, b in zip(moved, pulls)]
                for left, a in zip(moved, pulls)
            ]
        )

    def corner(self, free):
        """The likeliest variances over these, the others none; nothing if it is not inside."""
        spread = np.var(self.y - self.x @ np.linalg.lstsq(self.x, self.y, rcond=None)[0])
        scale = np.array([spread, spread / np.mean(self.x[:, 1] ** 2), spread])

        def variances(logs):
            given = np.zeros(3)
            given[free] = scale[free] * np.exp(logs)
            return given

        def goal(logs):
            given = variances(logs)
            return self.at(given)[0], self.score(given, free) * given[free]

        best = None
        for start in itertools.product([-6.0, -1.5], repeat=len(free) - 1):
            found = optimize.minimize(goal, [*start, -2.0], jac=True, bounds=[(-23, 5)] * len(free), method="L-BFGS-B")
            if best is None or found.fun < best.fun - 1e-9:
                best = found
        # Newton's steps to the last digits; where a variance wants to be none they lead out of what can be.
        given = variances(best.x)
        for _ in range(20):
            given[free] -= np.linalg.solve(self.curvature(given, free), self.score(given, free))
            if np.any(np.abs(np.log(np.maximum(given[free], 1e-300) / variances(best.x)[free])) > 1):
                return None
        assert np.all(np.abs(self.score(given, free) * given[free]) < 1e-8 * len(self.y)), given
        return self.at(given)[0], given, free

    def fit(self):
        corners = [self.corner(free) for free in ([2], [0, 2], [1, 2], [0, 1, 2])]
        minus_two, variances, free = min((c for c in corners if c is not None), key=lambda corner: corner[0])
        # From there more of what is none would only be less likely.
        assert all(self.score(variances, [j])[0] >= 0 for j in range(3) if j not in free)
        _, _, _, line, covariance, _ = self.at(variances)
        spreads = np.sqrt(variances)
        # In standard deviations, by the chain rule: the score is none.
        information = self.curvature(variances, free) * np.outer(spreads[free], spreads[free]) * 2
        errors = dict(zip(free, np.sqrt(np.diag(np.linalg.inv(information)))))
        return {
            "as_new": self.sign * line[0],
            "as_new_sd": spreads[0],
            "rate": line[1],
            "rate_sd": spreads[1],
            "reading_sd": spreads[2],
            "log_likelihood": -0.5 * minus_two,
            "standard_errors": {
                "as_new": np.sqrt(covariance[0, 0]),
                "rate": np.sqrt(covariance[1, 1]),
                "as_new_sd": errors.get(0),
                "rate_sd": errors.get(1),
                "reading_sd": errors.get(2),
            },
            "groups": self.groups,
            "readings": len(self.y),
        }


@functools.cache
def wear_fit():
    return list(cases())


def cases():
    random = np.random.default_rng(SEED)
    for method in ("reml", "ml"):
        case = {"groups": sleepstudy(), "method": method, "grows": True}
        yield case, Dense(case).fit()
    for number in range(40):
        case = {"groups": some_fleet(number, random), "method": "ml" if number % 3 == 0 else "reml"}
        if number % 5 == 0:
            case["grows"] = True
            for group in case["groups"]:
                for reading in group["readings"]:
                    reading["value"] = -reading["value"]
        yield case, Dense(case).fit()


def mixed_lm():
    """What statsmodels answers to those of the cases that it can: its search knows no boundary."""
    for number, (case, answer) in enumerate(wear_fit()):
        if answer["as_new_sd"] == 0 or answer["rate_sd"] == 0 or number in STOPS_SHORT:
            continue
        dense = Dense(case)
        member = [number for number, group in enumerate(case["groups"]) for _ in group["readings"]]
        # Hours in hundreds, at which its search does better; the restricted likelihood counts them.
        scaled = dense.x / [1.0, 100.0]
        model = MixedLM(dense.y, scaled, member, exog_re=scaled)
        independent = MixedLMParams.from_components(fe_params=np.ones(2), cov_re=np.eye(2))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            fit = model.fit(reml=dense.reml, free=independent, method=["bfgs", "lbfgs"], gtol=1e-9)
        yield number, {
            "as_new": dense.sign * fit.fe_params[0],
            "as_new_sd": np.sqrt(fit.cov_re[0, 0]),
            "rate": fit.fe_params[1] / 100.0,
            "rate_sd": np.sqrt(fit.cov_re[1, 1]) / 100.0,
            "reading_sd": np.sqrt(fit.scale),
            "log_likelihood": fit.llf - (np.log(100.0) if dense.reml else 0.0),
        }
