"""Heads kept elsewhere, each waited for while the log is read: it must stand where it stood."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass

from db.anchors import Anchor
from db.errors import BrokenChainError


@dataclass(frozen=True)
class Verified:
    """What verified: how many facts and changes, and the head's hash, to be kept elsewhere as an anchor."""

    facts: int
    head: str
    seq: int = 0


class Awaited:
    """Anchors in the order in which they must come: told by their facts, by their changes alone, or by a bare head."""

    def __init__(self, anchors: Iterable[Anchor | Verified]) -> None:
        given = tuple(anchors)
        told = ((each.facts, each) for each in given if each.facts is not None)
        self.by_facts = deque(sorted(told, key=lambda pair: pair[0]))
        by_changes = (each for each in given if each.facts is None and each.seq)
        self.by_changes = deque(sorted(by_changes, key=lambda each: each.seq))
        self.bare = {each.head for each in given if each.facts is None and not each.seq}
        self.count = len(given)
        self.latest = 0
        self.latest_day = ""

    def meet(self, found: Verified) -> None:
        """Check the anchors that stand at this link, or should."""
        while self.by_facts and found.facts >= self.by_facts[0][0]:
            self._check(self.by_facts.popleft()[1], found)
        while self.by_changes and found.seq >= self.by_changes[0].seq:
            self._check(self.by_changes.popleft(), found)
        if found.head in self.bare:
            self.bare.remove(found.head)
            self.latest, self.latest_day = found.seq, ""

    def end(self, found: Verified) -> None:
        """Refuse where the log has ended and an anchor was not met."""
        if self.by_facts:
            facts, anchor = self.by_facts[-1]
            raise BrokenChainError(
                found.seq + 1, f"the log was cut: it has {found.facts} facts, {_called(anchor)} {facts}"
            )
        if self.by_changes:
            anchor = self.by_changes[-1]
            raise BrokenChainError(
                found.seq + 1, f"the log was cut: it has {found.seq} changes, {_called(anchor)} {anchor.seq}"
            )
        if self.bare:
            raise BrokenChainError(
                found.seq + 1,
                f"the log was cut or rewritten: none of its changes has the head {min(self.bare)}",
            )

    def _check(self, anchor: Anchor | Verified, found: Verified) -> None:
        # An anchor may come without its sequence number or its facts; its head says as much.
        facts = found.facts if anchor.facts is None else anchor.facts
        if (found.facts, found.head, anchor.seq or found.seq) != (facts, anchor.head, found.seq):
            raise BrokenChainError(
                found.seq, f"the log was rewritten: the head of {_called(anchor)} is not where it was"
            )
        self.latest, self.latest_day = found.seq, anchor.day if isinstance(anchor, Anchor) else ""


def _called(anchor: Anchor | Verified) -> str:
    return f"the anchor of {anchor.day}" if isinstance(anchor, Anchor) and anchor.day else "the anchor"
