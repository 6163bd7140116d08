"""From one scale of acuity to another, by formula and never by snapping to a row of a chart.

decimal = test distance / letter distance, logMAR = -log10(decimal): Holladay, J Cataract Refract Surg 2004,
doi 10.1016/j.jcrs.2004.01.014. letters = 85 - 50 logMAR: Beck et al., Am J Ophthalmol 2003;135:194-205, and
Gregori et al., Retina 2010, doi 10.1097/iae.0b013e3181d87e04. Decimal arithmetic throughout, since the binary
0.7 - 0.4 is less than 0.3.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, Context, Decimal

from followup.domain.errors import BadValue

EXACT = Context(prec=28, rounding=ROUND_HALF_EVEN)
LINE = Decimal("0.1")
LETTER = Decimal("0.02")
MOST_LETTERS = Decimal(100)
# Zero letters. Past it nothing was read on the chart, so no letter count is printed.
CHART_END = Decimal("1.7")
# The lowest and highest acuity taken as measured. 0.005 is the lowest published, for hand movements
# (Schulze-Bonsel et al., Invest Ophthalmol Vis Sci 2006;47:1236-40). The upper is common practice, no source.
LOWEST_DECIMAL, HIGHEST_DECIMAL = Decimal("0.005"), Decimal(3)
_PLACES = Decimal("0.0001")


def logmar_from_decimal(decimal: Decimal) -> Decimal:
    """-log10 of a decimal acuity. Raises BadValue unless it is above zero."""
    return logmar_from_fraction(decimal, Decimal(1))


def logmar_from_fraction(tested_at: Decimal, letter_distance: Decimal) -> Decimal:
    """logMAR of a fraction such as 6/9, both in one unit of length. Raises BadValue unless above zero."""
    if tested_at <= 0 or letter_distance <= 0:
        raise BadValue("Both parts of an acuity must be above zero; no sight is a category, not a number.")
    return EXACT.log10(EXACT.divide(letter_distance, tested_at)) + 0


def logmar_from_letters(letters: Decimal | int) -> Decimal:
    """1.7 - 0.02 per letter. Raises BadValue outside 0 to 100."""
    if not 0 <= letters <= MOST_LETTERS:
        raise BadValue(f"A letter score runs from 0 to 100, not {letters}.")
    return CHART_END - LETTER * letters


def decimal_from_logmar(logmar: Decimal) -> Decimal:
    return EXACT.power(Decimal(10), -logmar)


def letters_from_logmar(logmar: Decimal) -> Decimal | None:
    """85 - 50 logMAR, not above 100; None below the chart (logMAR over 1.7). Round only to display."""
    if logmar > CHART_END:
        return None
    return min(85 - 50 * logmar, MOST_LETTERS)


def lines_from_logmar(logmar: Decimal) -> Decimal:
    """Lines of 0.1 logMAR away from 6/6; rows of an unevenly stepped chart are never counted."""
    return EXACT.divide(logmar, LINE)


def four_places(value: Decimal) -> Decimal:
    """A value to four decimal places, without a negative zero."""
    return value.quantize(_PLACES, ROUND_HALF_EVEN) + 0


def mean_logmar(logmars: Sequence[Decimal]) -> Decimal:
    """Arithmetic mean of logMAR, which is the geometric mean of the decimals. Raises BadValue for nobody.

    Averaging decimals themselves overstates sight: Holladay, J Refract Surg 1997;13:388-91.
    """
    if not logmars:
        raise BadValue("There is no reading on a chart to average.")
    return EXACT.divide(sum(logmars, Decimal(0)), Decimal(len(logmars)))
