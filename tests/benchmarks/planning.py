"""How fast eyes are planned and told their standing, beside bare copying of the same facts.

Run with `python -m tests.benchmarks.planning [largest number of eyes]`. Every eye of two years' history is
planned, reduced to what standing needs, and asked where it stands. The floor is a loop that copies every fact
and the history once with `dataclasses.replace`, timed in the same run on the same eyes. Times are processor
times, so that other work on the machine counts little, and the least of several runs. Leaves with 1 if a
ratio is over its limit.
"""

from __future__ import annotations

import gc
import sys
import time as clock
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, timedelta
from random import Random

from followup.domain.facts import EyeHistory
from followup.domain.pathway.planner import plan_eye
from followup.domain.standing import standing_on, state_of
from followup.domain.words import (
    AppointmentState,
    ContactResult,
    DecisionKind,
    Indication,
    Retina,
    Standing,
    Tamponade,
)
from tests.domain.histories import (
    BOOK,
    LIMITS,
    attempt,
    exam,
    history,
    oil_in,
    oil_out,
    operation,
    place,
    signed,
)

TODAY = date(2024, 5, 1)
EYES = (1_000, 10_000, 100_000)
EXAMS = (10, 100, 1_000)
FLOOR_LIMIT = 15.0
GROWTH_LIMIT = 1.5
"""How much dearer each eye, or each exam, may be where there are ten times as many."""

REVIEW_DAYS = (1, 7, 14, 30, 60, 90, 120, 180, 270, 365, 450, 540, 640, 730)
AGENTS = (Tamponade.SF6, Tamponade.C3F8, Tamponade.AIR, Tamponade.NONE, Tamponade.UNKNOWN)
INDICATIONS = (Indication.RRD, Indication.PVR, Indication.MHRD, Indication.MACULAR_HOLE, Indication.ERM)


def two_years(random: Random, eye_id: int) -> EyeHistory:
    """An eye operated on two years ago: one in four with oil, one in ten repaired, half seen to the end."""
    first = TODAY - timedelta(days=random.randint(730, 760))

    def on(days: int) -> str:
        return str(first + timedelta(days=days))

    oil = random.random() < 0.25
    placing, agent = (oil_in, Tamponade.OIL_1000) if oil else (operation, random.choice(AGENTS))
    facts: list[object] = [placing(on(0), indication=random.choice(INDICATIONS), tamponade_in=agent)]
    if oil and random.random() < 0.8:
        facts.append(oil_out(on(random.randint(60, 100))))
    if random.random() < 0.1:
        facts.append(operation(on(random.randint(20, 50)), indication=Indication.REDETACHMENT))
    leaves = random.choice((60, 200, 400, 730, 730, 730))
    for planned in REVIEW_DAYS:
        if planned <= leaves and random.random() < 0.9:
            seen = on(planned + random.randint(0, 5))
            retina = Retina.DETACHED_MACULA_ON if random.random() < 0.02 else Retina.ATTACHED
            facts += [exam(seen, retina=retina), place(seen, state=AppointmentState.FULFILLED)]
    if random.random() < 0.4:
        facts.append(place(str(TODAY + timedelta(days=random.randint(0, 60)))))
    if leaves < 730:
        facts += [attempt(on(leaves + 60 + 7 * again), ContactResult.NO_ANSWER) for again in range(3)]
    if random.random() < 0.1:
        back = str(TODAY + timedelta(days=14))
        facts.append(signed(DecisionKind.SEE_AGAIN, str(TODAY - timedelta(days=1)), review_on=back))
    return replace(history(*facts), eye_id=eye_id)


def long_history(random: Random, exams: int) -> EyeHistory:
    """An eye seen so many times over fifteen years, with one repair and one filling with oil on the way."""
    first = TODAY - timedelta(days=15 * 365)
    days = sorted(random.sample(range(1, 15 * 365), exams))
    visits = [str(first + timedelta(days=days)) for days in days]
    return history(
        oil_in(str(first)),
        oil_out(str(first + timedelta(days=75))),
        operation(str(first + timedelta(days=400)), indication=Indication.REDETACHMENT),
        *(exam(on, retina=Retina.ATTACHED) for on in visits),
        *(place(on, state=AppointmentState.FULFILLED) for on in visits),
    )


def copy_facts(eyes: Sequence[EyeHistory]) -> None:
    """The floor: every fact once, and the history that holds them."""
    for eye in eyes:
        replace(
            eye,
            traits=replace(eye.traits),
            operations=tuple(replace(fact) for fact in eye.operations),
            exams=tuple(replace(fact) for fact in eye.exams),
            appointments=tuple(replace(fact) for fact in eye.appointments),
            decisions=tuple(replace(fact) for fact in eye.decisions),
            attempts=tuple(replace(fact) for fact in eye.attempts),
        )


def tell_standings(eyes: Sequence[EyeHistory]) -> Counter[Standing]:
    told: Counter[Standing] = Counter()
    for eye in eyes:
        state = state_of(eye, plan_eye(eye, BOOK))
        assert state is not None, f"eye {eye.eye_id} was operated on and has no course"
        told[standing_on(state, TODAY, LIMITS).standing] += 1
    return told


def seconds(task: Callable[[Sequence[EyeHistory]], object], eyes: Sequence[EyeHistory], runs: int) -> float:
    """Least processor time of several runs."""
    taken = []
    for _ in range(runs):
        started = clock.process_time()
        task(eyes)
        taken.append(clock.process_time() - started)
    return min(taken)


def measure(eyes: Sequence[EyeHistory], runs: int) -> tuple[float, float]:
    """Microseconds an eye: the floor, and here."""
    scale = 1e6 / len(eyes)
    return seconds(copy_facts, eyes, runs) * scale, seconds(tell_standings, eyes, runs) * scale


def by_number_of_eyes(largest: int) -> list[str]:
    """Prints a line for each number of eyes, growth against the line before; the faults found."""
    random = Random(20240501)
    eyes = [two_years(random, number) for number in range(largest)]
    gc.freeze()  # the histories stay: without this the collector would walk them all again and again
    print(f"{'eyes':>9}{'floor us/eye':>14}{'here us/eye':>14}{'to floor':>10}{'growth':>9}")
    faults, before = [], 0.0
    for size in (size for size in EYES if size <= largest):
        floor, here = measure(eyes[:size], runs=max(2, min(7, 20_000 // size)))
        growth = here / floor / before if before else 1.0
        before = here / floor
        print(f"{size:>9}{floor:>14.1f}{here:>14.1f}{here / floor:>10.2f}{growth:>9.2f}", flush=True)
        if here / floor > FLOOR_LIMIT:
            faults.append(f"{size} eyes: {here / floor:.2f} times the floor, at most {FLOOR_LIMIT}")
        if growth > GROWTH_LIMIT:
            faults.append(f"{size} eyes: {growth:.2f} times as dear an eye, at most {GROWTH_LIMIT}")
    told = tell_standings(eyes)
    print("   ".join(f"{standing.label} {number}" for standing, number in sorted(told.items())))
    if told.total() != largest:
        faults.append(f"the standings add up to {told.total()}, not to {largest}")
    return faults


def by_length_of_history() -> list[str]:
    """Prints a line for each number of exams, growth against the line before; the faults found."""
    random = Random(20240502)
    print(f"{'exams':>9}{'floor us/exam':>14}{'here us/exam':>14}{'to floor':>10}{'growth':>9}")
    faults, before = [], 0.0
    for length in EXAMS:
        eyes = [long_history(random, length) for _ in range(20)]
        floor, here = (each / length for each in measure(eyes, runs=7))
        growth = here / before if before else 1.0
        before = here
        print(f"{length:>9}{floor:>14.2f}{here:>14.2f}{here / floor:>10.2f}{growth:>9.2f}", flush=True)
        if growth > GROWTH_LIMIT:
            faults.append(f"{length} exams: {growth:.2f} times as dear an exam, at most {GROWTH_LIMIT}")
    return faults


def main(largest: int) -> int:
    faults = [*by_number_of_eyes(largest), *by_length_of_history()]
    for fault in faults:
        print(f"Over its limit: {fault}.")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(int(float(sys.argv[1])) if len(sys.argv) > 1 else EYES[-1]))
