"""Published numbers for sight below the chart. They disagree by 0.8 logMAR: one is used by name or none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from followup.domain.acuity.notation import Acuity, Category
from followup.domain.errors import BadValue

CF, HM = Category.COUNTING_FINGERS, Category.HAND_MOVEMENTS
LP, NLP = Category.LIGHT_PERCEPTION, Category.NO_LIGHT_PERCEPTION


@dataclass(frozen=True, slots=True)
class Substitution:
    """logMAR by category. A category that the source could not measure has no value here."""

    key: str
    label: str
    source: str
    values: Mapping[Category, Decimal]

    def value_for(self, acuity: Acuity) -> Decimal | None:
        return self.values.get(acuity.category) if acuity.category else None


def _table(key: str, label: str, source: str, values: dict[Category, str]) -> Substitution:
    return Substitution(key, label, source, {category: Decimal(value) for category, value in values.items()})


_ALL = (
    _table(
        "schulze_bonsel_2006",
        "Schulze-Bonsel 2006",
        "Schulze-Bonsel K et al. Invest Ophthalmol Vis Sci 2006;47:1236-40: 0.014 for 6 eyes counting "
        "fingers at 30 cm, 0.005 for 12 seeing hand movements; light perception could not be measured.",
        {CF: "1.85", HM: "2.30"},
    ),
    _table(
        "lange_2009",
        "Lange 2009",
        "Lange C et al. Graefes Arch Clin Exp Ophthalmol 2009;247:137-42: 1.98 for 15 eyes counting fingers, "
        "2.28 for 15 seeing hand movements; light perception was the floor.",
        {CF: "1.98", HM: "2.28"},
    ),
    _table(
        "holladay_2004",
        "Holladay 2004, at 2 feet",
        "Holladay JT. J Cataract Refract Surg 2004, doi 10.1016/j.jcrs.2004.01.014: fingers as the 200 foot "
        "letter, hand movements ten times worse, both at 2 feet. Check against the paper before publishing.",
        {CF: "2.0", HM: "3.0"},
    ),
    _table(
        "uk_cataract",
        "UK national cataract data papers",
        "Values used in the UK national cataract data papers. Check against the papers before publishing.",
        {CF: "2.10", HM: "2.40", LP: "2.70", NLP: "3.00"},
    ),
    _table(
        "grover_1999",
        "Grover 1999",
        "Grover 1999 and series that followed it. Check against the paper before publishing.",
        {CF: "2.6", HM: "2.7", LP: "2.8", NLP: "2.9"},
    ),
)
SUBSTITUTIONS: Mapping[str, Substitution] = {table.key: table for table in _ALL}


def substitution(key: str) -> Substitution:
    """The table of a name; BadValue names the tables there are."""
    try:
        return SUBSTITUTIONS[key]
    except KeyError:
        raise BadValue(
            f'"{key}" is no substitution table. Choose one of {", ".join(SUBSTITUTIONS)}.'
        ) from None
