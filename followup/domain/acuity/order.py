"""The order of readings, which is safe where numbers are not: NLP < LP < HM < CF < any chart reading."""

from __future__ import annotations

from decimal import Decimal

from followup.domain.acuity.notation import Acuity, Category

CHART_RANK = 4
_RANKS = {
    Category.NO_LIGHT_PERCEPTION: 0,
    Category.LIGHT_PERCEPTION: 1,
    Category.HAND_MOVEMENTS: 2,
    Category.COUNTING_FINGERS: 3,
}


def sight_can_be_asked(acuity: Acuity) -> bool:
    """False for a prosthesis, phthisis or an enucleated eye: codes of their own, not no light perception."""
    return acuity.category is None or acuity.category in _RANKS


def sight_order(acuity: Acuity) -> tuple[int, Decimal]:
    """A key that sorts from worst to best sight. Distances of fingers and hand movements do not count.

    Ask `sight_can_be_asked` first; KeyError for an eye that has no place in the order.
    """
    if acuity.category is not None:
        return _RANKS[acuity.category], Decimal(0)
    return CHART_RANK, -(acuity.logmar or Decimal(0))
