"""The proposal against first come, first served, on thousands of eyes, from the same places.

Run with `python -m tests.benchmarks.proposal [wants]`, by default 2,000 onto as many places. A quarter are
removals for theatre, one in five sees both eyes, a third are overdue; one person in ten is away for a
fortnight. First come, first served gives each in the order of the recall list (most pressing first, then
longest overdue) the first free place that they may take. Compared are the days past the windows, all and
weighted, and who is left without a place. Leaves with 1 if the proposal is worse, breaks a rule, or takes
longer than its limit.
"""

from __future__ import annotations

import sys
import time as clock
from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta
from random import Random

from followup.queries.proposal.assign import Due, Slot, Want, assign, total_cost

TODAY = date(2026, 3, 2)
WANTS = 2_000
PLACES_A_SESSION = 12
LIMIT_SECONDS = 20.0


def draw_wants(random: Random, number: int) -> list[Want]:
    return [_want(random, patient) for patient in range(number)]


def _want(random: Random, patient: int) -> Want:
    theatre = random.random() < 0.25
    length = 30 if theatre else random.choice((7, 14, 28, 42))
    overdue = random.random() < 0.33
    opens = TODAY + timedelta(
        days=random.randint(-90, -length - 1) if overdue else random.randint(-length, 42)
    )
    due = Due(opens, opens + timedelta(days=length // 2), opens + timedelta(days=length))
    both = not theatre and random.random() < 0.2
    leaves = TODAY + timedelta(days=random.randint(0, 60))
    return Want(
        patient=patient,
        kind="theatre" if theatre else "clinic",
        dues=(due, due) if both else (due,),
        weight=random.choices((16, 8, 4, 2, 1), weights=(2, 4, 8, 6, 80))[0],
        away=((leaves, leaves + timedelta(days=13)),) if random.random() < 0.1 else (),
    )


def draw_slots(random: Random, wants: Sequence[Want]) -> list[Slot]:
    """As many places of each kind as wants of it, over the working days of thirteen weeks."""
    slots = []
    for kind, number in Counter(want.kind for want in wants).items():
        left = number
        while left > 0:
            day = TODAY + timedelta(days=7 * random.randint(0, 12) + random.randint(0, 4))
            places = min(left, PLACES_A_SESSION)
            slots.append(Slot(len(slots), day, kind, places))
            left -= places
    return slots


def first_come(wants: Sequence[Want], slots: Sequence[Slot]) -> list[Slot | None]:
    free = {slot.session: slot.places for slot in slots}
    in_time = sorted(slots, key=lambda slot: (slot.day, slot.session))
    taken: list[Slot | None] = [None] * len(wants)
    order = sorted(range(len(wants)), key=lambda row: (-wants[row].weight, -wants[row].delay(TODAY), row))
    for row in order:
        slot = next((each for each in in_time if free[each.session] and wants[row].may_take(each)), None)
        if slot is not None:
            free[slot.session] -= 1
            taken[row] = slot
    return taken


def delays(wants: Sequence[Want], taken: Sequence[Slot | None]) -> tuple[int, int, int]:
    """Days past the windows, the same weighted, and people without a place."""
    placed = [(want, slot) for want, slot in zip(wants, taken, strict=True) if slot is not None]
    days = sum(want.delay(slot.day) for want, slot in placed)
    weighted = sum(want.weight * want.delay(slot.day) for want, slot in placed)
    return days, weighted, len(wants) - len(placed)


def faults_of(wants: Sequence[Want], slots: Sequence[Slot], taken: Sequence[Slot | None]) -> list[str]:
    held = Counter(slot.session for slot in taken if slot is not None)
    faults = [f"session {slot.session} is overbooked" for slot in slots if held[slot.session] > slot.places]
    pairs = zip(wants, taken, strict=True)
    return faults + [
        f"{want} may not have {slot}" for want, slot in pairs if slot and not want.may_take(slot)
    ]


def main(number: int) -> int:
    random = Random(20260302)
    wants = draw_wants(random, number)
    slots = draw_slots(random, wants)
    print(f"{number} wants onto {sum(slot.places for slot in slots)} places in {len(slots)} sessions")
    print(f"{'':>28}{'days past':>11}{'weighted':>10}{'no place':>10}{'cost':>13}{'seconds':>9}")
    costs, took, faults = [], 0.0, []
    for name, way in (("first come, first served", first_come), ("proposal", assign)):
        started = clock.perf_counter()
        taken = way(wants, slots)
        took = clock.perf_counter() - started
        days, weighted, without = delays(wants, taken)
        costs.append(total_cost(wants, taken))
        faults += faults_of(wants, slots, taken)
        print(f"{name:>28}{days:>11}{weighted:>10}{without:>10}{costs[-1]:>13.1f}{took:>9.2f}", flush=True)
    if costs[1] > costs[0]:
        faults.append("the proposal costs more than first come, first served")
    if took > LIMIT_SECONDS:
        faults.append(f"the proposal took {took:.1f} seconds, at most {LIMIT_SECONDS}")
    for fault in faults[:10]:
        print(f"Fault: {fault}.")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(int(float(sys.argv[1])) if len(sys.argv) > 1 else WANTS))
