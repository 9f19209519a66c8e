"""What is raised: an input that is refused, or a fault of haulm."""

from __future__ import annotations


class _Told(Exception):
    """A code for scripts, and for people what is wrong, where, and what to do."""

    code: str
    """Stable, dotted, lower case: ``"reference.outside"``."""
    headline: str
    """One line: what is wrong."""
    facts: list[tuple[str, str]]
    """Where, with numbers and units: a place and what is there."""
    hint: str | None
    """What to do."""
    causes: list[str]
    """What it was caused by, outermost first."""

    def __init__(self, code: str, headline: str, facts: list[tuple[str, str]] = [], hint: str | None = None, causes: list[str] = []) -> None:
        super().__init__(code, headline, list(facts), hint, list(causes))
        self.code = code
        self.headline = headline
        self.facts = list(facts)
        self.hint = hint
        self.causes = list(causes)

    @property
    def place(self) -> str | None:
        """The first place: a file, a key, or line and column of the job; ``None`` where none is named."""
        return self.facts[0][0] if self.facts else None

    def __str__(self) -> str:
        lines = [f"[{self.code}] {self.headline}"]
        lines += [f"  {place}: {text}" for place, text in self.facts]
        lines += [f"  because: {cause}" for cause in self.causes]
        if self.hint:
            lines.append(f"hint: {self.hint}")
        return "\n".join(lines)


class Refused(_Told):
    """An input, a setting or a place was refused; nothing was written."""


class Fault(_Told):
    """haulm itself failed: please report it."""
