"""Seeded draws, so that the cases are the same on every run."""

import math

import numpy as np

RANDOM = np.random.default_rng(20251115)


def pick(low, high, digits=3):
    """A round number between low and high, so that the file reads well."""
    return float(f"{RANDOM.uniform(low, high):.{digits}g}")


def pick_log(low, high, digits=3):
    return float(f"{math.exp(RANDOM.uniform(math.log(low), math.log(high))):.{digits}g}")
