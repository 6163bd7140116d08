"""What is written when no chart can be read: fingers, hand movements, light, none, or no eye."""

from __future__ import annotations

import re
from decimal import Decimal

from followup.domain.acuity.notation import Acuity, Category, Distance, Notation, Reason, UnreadableAcuity
from followup.domain.acuity.numbers import to_decimal

# Test distance of a letter chart; fingers seen farther off belong on the chart. 20 ft is 6.096 m.
FARTHEST_METRES = Decimal("6.1")

_FINGERS = r"cf|fc|c/f|count(?:ing|s)? ?fingers?|fingers? ?count(?:ing)?|fingerz(?:ä|ae)hlen"
_HANDS = r"hmm?|hand ?(?:move|moving|movements?|motions?)|handbewegung(?:en)?"
_LIGHT = r"(?:bare )?(?:lp|pl|light perception|perception of light|lichtschein)"
_WORDS = (
    (Category.NO_LIGHT_PERCEPTION, r"nlp|npl|(?:no|nil|non) ?(?:lp|pl)|no light perception"),
    (
        Category.NO_LIGHT_PERCEPTION,
        r"no perception of light|nulla lux|(?:lp|pl) ?(?:negative|neg|-ve|absent|nil)",
    ),
    (Category.PROSTHESIS, r"(?:ocular )?prosthesis|prosthetic(?: eye)?|artificial eye|glass eye"),
    (Category.PHTHISIS, r"phthisis(?: bulbi)?|phthisical(?: eye)?"),
    (Category.ENUCLEATED, r"enucleated|enucleation"),
)
_AMOUNTS = {"½": "0.5", "¼": "0.25", "¾": "0.75", "1/2": "0.5", "1/4": "0.25", "3/4": "0.75"}
_UNITS = {
    "m": r"m|mt|mtrs?|metres?|meters?",
    "cm": r"cms?|centimetres?|centimeters?",
    "ft": r"ft|foot|feet|'",
    "in": r'in|inch|inches|"',
}
_ANY_UNIT = "|".join(f"(?P<{unit}>{words})" for unit, words in _UNITS.items())
_DISTANCE = rf"(?P<amount>[½¼¾]|[13]/[24]|[0-9]{{1,3}}(?:[.,][0-9]{{1,2}})?) ?(?:{_ANY_UNIT})\.?"
_BEHIND = re.compile(rf"(?:@|at|from|,|:|-)? ?\(?{_DISTANCE}\)?", re.ASCII)
_BEFORE = re.compile(rf"{_DISTANCE} ?(?P<words>{_FINGERS}|{_HANDS})", re.ASCII)
_SEEN = (
    (Category.COUNTING_FINGERS, re.compile(rf"(?:{_FINGERS})(?![a-z])(?P<rest>.*)")),
    (Category.HAND_MOVEMENTS, re.compile(rf"(?:{_HANDS})(?![a-z])(?P<rest>.*)")),
)
_CLOSE = re.compile(r"(?:@|at )?(?:cf|close|close to (?:the )?face|near (?:the )?face|(?:the )?face)")
_LIGHT_SEEN = re.compile(rf"(?:{_LIGHT})(?![a-z])(?: ?\+(?:ve)?| positive| present| only)?(?P<rest>.*)")
_PROJECTION = re.compile(r"projections?|proj|pr[+-]?|quadrants?|quads?")
_BESIDE_PROJECTION = re.compile(
    r"with|w|without|no|good|accurate|inaccurate|poor|faulty|full|partial|defective|in|all|of|light|temporal|nasal"
    r"|superior|inferior|[1-4]|one|two|three|four|and|\+|x"
)
_DOTTED = re.compile(r"(?<![a-z])((?:[a-z]\.){1,3}[a-z])(?:\.|(?![a-z]))")


def read_category(words: str) -> Acuity | None:
    """A category with its distance or projection, None when `words` is not one. Raises UnreadableAcuity."""
    words = _DOTTED.sub(lambda found: found[1].replace(".", ""), words)
    words = "cf cf" if words == "cfcf" else words
    for category, pattern in _WORDS:
        if re.fullmatch(pattern, words):
            return _reading(category)
    if found := _LIGHT_SEEN.fullmatch(words):
        return _with_projection(found["rest"].strip(" ,;"))
    return _seen_at_a_distance(words)


def _reading(category: Category, distance: Distance | None = None, note: str = "") -> Acuity:
    return Acuity("", Notation.CATEGORY, category=category, distance=distance, note=note)


def _with_projection(rest: str) -> Acuity | None:
    if rest == "-":
        raise UnreadableAcuity(
            'Light perception with a bare "-" can mean none. Write LP or NLP.', Reason.AMBIGUOUS
        )
    words = [word for word in re.split(r"[ ,;/():]+", rest) if word]
    known = all(_PROJECTION.fullmatch(word) or _BESIDE_PROJECTION.fullmatch(word) for word in words)
    about_projection = any(_PROJECTION.fullmatch(word) for word in words)
    if rest and not (known and about_projection):
        return None
    return _reading(Category.LIGHT_PERCEPTION, note=" ".join(words))


def _seen_at_a_distance(words: str) -> Acuity | None:
    if found := _BEFORE.fullmatch(words):
        return _seen_at_a_distance(f"{found['words']} {words[: found.start('words')].strip()}")
    for category, pattern in _SEEN:
        if found := pattern.fullmatch(words):
            return _seen(category, found["rest"].strip())
    return None


def _seen(category: Category, rest: str) -> Acuity | None:
    if not rest:
        return _reading(category)
    if _CLOSE.fullmatch(rest):
        return _reading(category, note="close to face")
    if found := _BEHIND.fullmatch(rest):
        return _reading(category, _distance(found))
    if re.match(r"(?:@|at|from|,|:|-)? ?\(?[0-9½¼¾]", rest):
        raise UnreadableAcuity(
            f'The distance "{rest}" needs one number and a unit: m, cm, ft or in.', Reason.DISTANCE
        )
    return None


def _distance(found: re.Match[str]) -> Distance:
    amount = to_decimal(_AMOUNTS.get(found["amount"], found["amount"]))
    distance = Distance(amount, next(unit for unit in _UNITS if found[unit]))
    if not 0 < distance.metres <= FARTHEST_METRES:
        raise UnreadableAcuity(
            f"Nothing is tested this way at {distance}: expected above 0 and up to 6 m.", Reason.DISTANCE
        )
    return distance
