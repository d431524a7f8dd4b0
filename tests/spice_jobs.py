"""Jobs of every complaint, read by ngspice and played to their stop by the planner.

``python -m tests.spice_jobs 40`` plays 40 jobs of each complaint of the three machines and prints a
line for each; ``python -m tests.spice_jobs 40 rider-start-12v`` those of one machine.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from knowngood.diagnosis.assess import Setup
from knowngood.isolate.prices import Prices
from knowngood.places.library import find_machine, find_meter, make_setup
from tests.circuit.spice import thermal_volts
from tests.play import Played, Ways, play_planned
from tests.simulate import draw_truth
from tests.spice_world import SpiceWorld

MACHINES = ("mower-battery-56v", "rider-start-12v", "hedge-trimmer-36v")
EXPANSIONS = 16  # a fixed number, so that the jobs are the same on every machine
SEED = 2027


@dataclass(frozen=True)
class Job:
    """One job: what was true and how it ended."""

    machine: str
    complaint: str
    seed: int
    fault: str
    played: Played
    read: tuple[str, ...]  # "test: what the meter showed", in order
    asked: int
    unsolved: int

    def __str__(self) -> str:
        end = "proven" if self.played.proven else "unproven"
        return (f"{self.complaint} {self.seed}: {self.fault} -> {sorted(self.played.named)} {end}"
                f" by {'; '.join(self.read)}")  # fmt: skip


@cache
def setup_of(machine: str, complaint: str) -> Setup:
    return make_setup(find_machine(machine).it, complaint, find_meter("generic-6000").it, Prices())


def complaints(machine: str) -> list[str]:
    return [c.id for c in find_machine(machine).it.complaints]


def play(
    machine: str, complaint: str, seeds: Sequence[int], folder: Path, ways: Ways | None = None
) -> list[Job]:
    """The jobs of these seeds. ``ways``: what was planned for jobs before them."""
    setup, vt = setup_of(machine, complaint), thermal_volts(folder)
    table, meter = setup.bench.table, setup.bench.meter
    assert meter is not None
    ways = {} if ways is None else ways
    jobs = []
    for seed in seeds:
        rng = np.random.default_rng([seed, SEED])
        world = SpiceWorld(table, meter, rng, draw_truth(table, rng), machine=setup.machine,
                           folder=folder, vt=vt)  # fmt: skip
        played = play_planned(setup, world, expansions=EXPANSIONS, ways=ways)
        read = tuple(f"{i.test}: {i.reading.text}" for i in world.readings())
        jobs.append(Job(machine, complaint, seed, table.hypotheses[world.truth].id, played, read,
                        world.asked, world.unsolved))  # fmt: skip
    return jobs


def right_share(jobs: Sequence[Job]) -> tuple[int, int, list[Job]]:
    """(proven stops, of them on a part that is truly bad, the wrong ones)."""
    proven = [j for j in jobs if j.played.proven]
    wrong = [j for j in proven if not j.played.right]
    return len(proven), len(proven) - len(wrong), wrong


def main(argv: Sequence[str]) -> int:
    count = int(argv[0]) if argv else 40
    with tempfile.TemporaryDirectory() as name:
        for machine in argv[1:] or MACHINES:
            whole: list[Job] = []
            for complaint in complaints(machine):
                jobs = play(machine, complaint, range(count), Path(name))
                whole += jobs
                proven, right, wrong = right_share(jobs)
                steps = np.mean([len(j.played.tests) for j in jobs])
                print(f"{machine} {complaint}: {len(jobs)} jobs, {proven} proven, {right} right,"
                      f" {steps:.1f} steps", flush=True)  # fmt: skip
                for job in wrong:
                    print(f"    wrong: {job}", flush=True)
            proven, right, _ = right_share(whole)
            print(f"{machine}: {len(whole)} jobs, {proven} proven stops, {right} right"
                  f" ({100 * right / max(proven, 1):.1f} %); ngspice gave no answer to"
                  f" {sum(j.unsolved for j in whole)} of {sum(j.asked for j in whole)} readings",
                  flush=True)  # fmt: skip
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
