"""Whether the share of a fault in a family file is the usual one.

The usual shares are common practice, with no published source. A file is held to what a shop could
tell: with fifty machines mended, counts as far off as the bounds come about 1 time in 20 where the
usual share holds (exact binomial bounds).
"""

from __future__ import annotations

from scipy.stats import binom

JOBS = 50
POINTS = 10  # and never further off than this


def as_usual(share: float, usual: float) -> bool:
    """Both in percent."""
    low, high = (100 / JOBS * binom.ppf(p, JOBS, usual / 100) for p in (0.025, 0.975))
    return bool(low < share <= high and abs(share - usual) <= POINTS)
