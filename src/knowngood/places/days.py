"""Days as a person in the shop says them."""

from __future__ import annotations

from datetime import date, datetime, tzinfo


def day_words(day: date, today: date) -> str:
    """ "today", "Thursday" within six days either way, else "12 March", with the year if another.

    A day of the week means the nearest one; whether it has passed is said by the words around it.
    """
    away = (day - today).days
    near = {0: "today", 1: "tomorrow", -1: "yesterday"}
    if away in near:
        return near[away]
    if abs(away) <= 6:
        return f"{day:%A}"
    year = f" {day.year}" if day.year != today.year else ""
    return f"{day.day} {day:%B}{year}"


def day_of(text: str, zone: tzinfo | None = None) -> date | None:
    """The day of a date or time as text (ISO 8601), a time seen in this zone; None if it is none.

    zone: that of the shop; without it the time's own.
    """
    try:
        if len(text) == 10:
            return date.fromisoformat(text)
        at = datetime.fromisoformat(text)
        return (at.astimezone(zone) if zone else at).date()
    except (ValueError, OverflowError):
        return None


def since_words(day: date | None, today: date) -> str:
    """ "since Monday", "since today", "" when the day is not known."""
    return f"since {day_words(day, today)}" if day else ""


def said_date(text: str, today: date) -> str:
    """A promise as it is said: a date in words, other words as they are."""
    day = day_of(text.strip())
    return day_words(day, today) if day else text.strip()
