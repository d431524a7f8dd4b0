"""A small open list of codes: what was seen, how the part failed, why, and what was done.

Mode, cause and action are kept apart as ISO 14224:2016 (annex B) keeps them: "open winding" is a
mode, "water" a cause, "replaced" an action. The words are those of the trade; a programme's own
codes, where it has them, are entered beside these.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

MODE: Final[Mapping[str, str]] = {
    "M01": "no function", "M02": "stops while running", "M03": "does not start on demand",
    "M04": "does not stop on demand", "M05": "open circuit", "M06": "short circuit",
    "M07": "high resistance or loose contact", "M08": "leak to ground or case",
    "M09": "low output", "M10": "out of limits", "M11": "broken or bent", "M12": "seized",
    "M13": "leaks fuel, oil or air", "M14": "noise or vibration", "M15": "intermittent",
    "M99": "other",
}  # fmt: skip
CAUSE: Final[Mapping[str, str]] = {
    "C01": "material or making", "C02": "assembly at the maker", "C03": "normal wear",
    "C04": "water or corrosion", "C05": "impact or drop", "C06": "overload or heat",
    "C07": "dirt or blocked cooling", "C08": "stale or wrong fuel", "C09": "wrong or worn pack",
    "C10": "earlier repair", "C11": "caused by another part", "C12": "use other than meant",
    "C98": "looked for, not found", "C99": "other",
}  # fmt: skip
ACTION: Final[Mapping[str, str]] = {
    "A01": "replaced", "A02": "repaired", "A03": "adjusted", "A04": "cleaned", "A05": "reconnected",
    "A06": "tested, nothing found", "A07": "returned unrepaired", "A99": "other",
}  # fmt: skip


def words_of(code: str) -> str:
    """ "M05 open circuit"; a code of somebody else's list stays as it is."""
    for kind in (MODE, CAUSE, ACTION):
        if code in kind:
            return f"{code} {kind[code]}"
    return code
