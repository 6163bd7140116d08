"""Public holidays of a country or a part of it, from the library that keeps them."""

from __future__ import annotations

from datetime import date

from followup.domain.errors import BadValue


def public_holidays(country: str, first: date, last: date) -> dict[date, str]:
    """The public holidays from `first` to `last` with their names; none for an empty country.

    country: an ISO 3166-1 code such as EG, or ISO 3166-2 such as DE-BY. Raises BadValue for one not known.
    Feasts that hang on the sighting of the moon are estimates; a closure or an exception corrects them.
    """
    if not country:
        return {}
    # Imported here, since it takes half a second that only the rota should cost.
    from holidays import country_holidays

    code, _, part = country.partition("-")
    try:
        years = range(first.year, last.year + 1)
        found = country_holidays(code, subdiv=part or None, years=years, language="en_US")
    except NotImplementedError:
        raise BadValue(
            f'No public holidays are known for "{country}". Use an ISO 3166 code such as EG or DE-BY, '
            "or leave it empty.",
            field="country",
            code="unknown_country",
        ) from None
    return {day: name for day, name in sorted(found.items()) if first <= day <= last}
