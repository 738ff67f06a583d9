"""Converts between probabilities and log odds, in nats; extremes are clipped against overflow."""

from __future__ import annotations

import math


def logistic(log_odds: float) -> float:
    """The probability for these log odds."""
    return 1 / (1 + math.exp(-max(-30.0, min(30.0, log_odds))))


def log_odds(probability: float) -> float:
    """The log odds of this probability."""
    kept = min(1 - 1e-12, max(1e-12, probability))
    return math.log(kept / (1 - kept))
