"""What the columns of an export are: each says what it means and what becomes of it without names."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from followup.domain.words import Term


class Kind(Enum):
    """How a column is written for those who may see names, and how for those who may not."""

    CODE = "coded list"
    CODES = "several of a coded list"
    NUMBER = "number"
    YES_NO = "yes or no"
    DAY = "day"
    """Days from the first operation, or the day moved, where names are left out."""
    TIME = "time of day"
    TEXT = "text as read, which names nobody"
    FREE = "free text"
    """Somebody may have written a name into it: left out with the names."""
    WHO = "what tells who somebody is"
    """Names, numbers, addresses: left out with the names."""
    BORN = "day of birth"
    """The age at the first operation, where names are left out; 90 and older as 90."""
    STAFF = "member of staff"
    """A code, where names are left out."""
    PERSON = "person"
    EYE = "eye"


LEFT_OUT = frozenset((Kind.FREE, Kind.WHO))


@dataclass(frozen=True, slots=True)
class Field:
    """One column. `path` leads to its value from the rows of its table; terms: the list of a coded one."""

    name: str
    path: str
    meaning: str
    kind: Kind
    terms: type[Term] | None = None
    imported: bool = True
    """Taken in again by the map beside the file."""


@dataclass(frozen=True, slots=True)
class Table:
    """One file. `person`: the path to its id; `eye`: to what was drawn for it, "" for rows of no one eye."""

    name: str
    meaning: str
    fields: tuple[Field, ...]
    person: str
    eye: str = ""
    is_imported: bool = False
