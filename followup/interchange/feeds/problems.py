"""What is wrong with a calendar file, said so that a person finds the place and can put it right."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """line: where it stands in the file, from 1; uid: of the entry, or ""; value: as it stands there.

    refused: the entry is not taken. Otherwise it is taken, and somebody should look.
    """

    line: int
    uid: str
    value: str
    message: str
    refused: bool = False

    def __str__(self) -> str:
        where = f"Line {self.line}" + (f", {self.uid}" if self.uid else "")
        value = f'"{self.value}": ' if self.value else ""
        return f"{where}: {value}{self.message}"


LONGEST_VALUE = 80


class Unreadable(Exception):
    """One value of an entry cannot be read, so the entry is not taken."""

    def __init__(self, line: int, value: str, message: str) -> None:
        super().__init__(message)
        self.line, self.value, self.message = line, value[:LONGEST_VALUE], message
