"""The optimum of a tiny task by trying everything, written apart from the planner."""

from __future__ import annotations

import math

from knowngood.isolate.task import Task


def optimum(task: Task) -> float:
    """Expected price of the best plan; plain recursion over histories, scalars only."""
    mass, out = _start(task)
    return _best(task, mass, task.opened, task.fitted, task.used, out, {})


def _start(task: Task):  # type: ignore[no-untyped-def]
    """Mass of each fault still possible, and those shown out."""
    total = math.fsum(f.weight for f in task.faults)
    mass = {f.id: f.weight / total for f in task.faults if f.weight > 0}
    if task.goal == "cured":
        mass = {i: m for i, m in mass.items() if not _cures(task, i, task.fitted)}
        total = math.fsum(mass.values())
        mass = {i: m / total for i, m in mass.items()}
    out = frozenset()
    if task.excluded0 is not None:
        out = frozenset(f.id for f, e in zip(task.faults, task.excluded0, strict=True) if e)
    return mass, out


def steps_by_force(task: Task) -> list[tuple[str, str, float]]:
    """(kind, id, price of the best plan that starts with it) of every test and part left."""
    mass, out = _start(task)
    at = (task.opened, task.fitted, task.used, out, {})
    open_now = [t for t in task.tests if t.id not in task.used and task.used.issuperset(t.after)]
    found = [("test", t.id, _test(task, mass, t, *at)) for t in open_now]
    if task.goal == "cured":
        left = [p for p in task.parts if p.id not in task.fitted]
        found += [("part", p.id, _part(task, mass, p, *at)) for p in left]
    return found


def _cures(task: Task, fault: str, fitted: frozenset[str]) -> bool:
    parts = next(f.parts for f in task.faults if f.id == fault)
    return bool(parts) and set(parts) <= fitted


def _way(task: Task, needs, closed, opened):  # type: ignore[no-untyped-def]
    want, todo = set(), list(needs)
    covers = {c.id: c for c in task.covers}
    while todo:
        c = todo.pop()
        if c not in want:
            want.add(c)
            todo += covers[c].needs
    price = sum(covers[c].price for c in want - opened)
    price += sum(covers[c].close_price for c in set(closed) & opened)
    return price, frozenset((opened | want) - set(closed))


def _stop(task: Task, mass, out):  # type: ignore[no-untyped-def]
    parts = {f.id: tuple(sorted(f.parts)) for f in task.faults}
    total = math.fsum(mass.values())
    best = math.inf
    for name in {parts[i] for i in parts}:
        right = math.fsum(m for i, m in mass.items() if parts[i] == name)
        others = [i for i in mass if parts[i] != name]
        price = 0.0
        if task.stop_price is not None:
            at = [tuple(sorted(s)) for s in task.cure_sets].index(name)
            price += total * float(task.stop_price[at])
        if others:
            if task.wrong_price is None:
                continue
            price += task.wrong_price * (total - right)
            within = [i for i in mass if (set(name) <= set(parts[i]) if name else not parts[i])]
            listed = [i for i in mass if parts[i] and i not in within and i not in out]
            if listed or math.fsum(mass[i] for i in within) < task.proof_floor * total:
                price += task.unproven_price * total
        best = min(best, price)
    return best


def _best(task, mass, opened, fitted, used, out, seen):  # type: ignore[no-untyped-def]
    """Price times the mass."""
    total = math.fsum(mass.values())
    key = (tuple((i, round(m / total, 12)) for i, m in mass.items()), opened, fitted, used, out)
    if key in seen:
        return seen[key] * total
    if task.goal == "part":
        best = _stop(task, mass, out)
    else:
        best = math.inf if task.give_up is None else task.give_up * total
        for p in task.parts:
            if p.id in fitted:
                continue
            if any(p.id in f.parts for f in task.faults if f.id in mass):
                best = min(best, _part(task, mass, p, opened, fitted, used, out, seen))
    for t in task.tests:
        if t.id not in used and all(first in used for first in t.after):
            best = min(best, _test(task, mass, t, opened, fitted, used, out, seen))
    seen[key] = best / total
    return best


def _part(task, mass, p, opened, fitted, used, out, seen):  # type: ignore[no-untyped-def]
    """Price times the mass of fitting this part, then the best."""
    price, now = _way(task, p.needs, p.closed, opened)
    has = fitted | {p.id}
    rest = {i: m for i, m in mass.items() if not _cures(task, i, has)}
    price = (price + p.price) * math.fsum(mass.values())
    return price + (_best(task, rest, now, has, used, out, seen) if rest else 0.0)


def _test(task, mass, t, opened, fitted, used, out, seen):  # type: ignore[no-untyped-def]
    """Price times the mass of this test, then the best."""
    names = [f.id for f in task.faults]
    price, now = _way(task, t.needs, t.closed, opened)
    price = (price + t.price) * math.fsum(mass.values())
    for o in range(len(t.outcomes)):
        row = dict(zip(names, t.given[o], strict=True))
        rest = {i: m * float(row[i]) for i, m in mass.items() if m * row[i] > 0}
        if rest:
            shown = out
            if t.excludes is not None:
                shown = out | {n for n, e in zip(names, t.excludes[o], strict=True) if e}
            price += _best(task, rest, now, fitted, used | {t.id}, shown, seen)
    return price
