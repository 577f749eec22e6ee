"""Exact intervals of a rate (C. J. Clopper and E. S. Pearson, Biometrika 26, 1934)."""

from __future__ import annotations


def two_sided(count: int, of: int) -> tuple[float, float]:
    """From and to where the rate of ``count`` in ``of`` lies, with 95 % confidence."""
    from scipy.stats import beta

    low = float(beta.ppf(0.025, count, of - count + 1)) if count else 0.0
    high = float(beta.ppf(0.975, count + 1, of - count)) if count < of else 1.0
    return low, high


def upper(count: int, of: int) -> float:
    """Below which the rate lies, with 95 % confidence; 1 where nothing was counted."""
    from scipy.stats import beta

    return float(beta.ppf(0.95, count + 1, max(1, of - count))) if of else 1.0
