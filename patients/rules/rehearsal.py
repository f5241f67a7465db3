"""What would the identity rule make of a programme's own past claims?  Asked, and counted.

The engine is the one that matches submissions (identity.py), on a register in memory. There are no
personal links here: under PERSONAL_LINK_ONLY and NEVER nothing is matched without a person.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from patients.rules.identity import Decision, PersonId, Policy, Register, Verdict, Why, decide
from patients.rules.rehearsal_files import Asked

FIRST_FEW = 3


@dataclass(frozen=True)
class Answered:
    """What the rule makes of one claim."""

    claim_id: str
    decision: Decision


def answer(asked: Asked, register: Register, policy: Policy) -> Answered:
    """Ask the rule about one claim."""
    return Answered(asked.claim_id, decide(asked.claim, register, policy=policy))


@dataclass
class Tally:
    """How many claims would be matched without a person, go to a person, or fit nobody.

    `doubts`: why claims would go to a person; a claim may count under several reasons.
    """

    verdicts: Counter[Verdict] = field(default_factory=Counter)
    doubts: Counter[Why] = field(default_factory=Counter)

    @property
    def claims(self) -> int:
        """How many there are in all."""
        return self.verdicts.total()

    def add(self, decision: Decision) -> None:
        """Count one claim."""
        self.verdicts[decision.verdict] += 1
        if decision.verdict == Verdict.REVIEW:
            self.doubts.update(decision.reasons)


@dataclass
class Judged:
    """How right the rule was, on the claims of which it is known whose they are.

    `known`: these claims. `of_patients`: those of somebody on the register; in `first` of them the
    right patient was the first candidate, in `first_few` among the first three. `automatic`:
    matched without a person; `wrong` are those of them matched to somebody else, by claim id.
    `automatic_of_patients`: matched without a person, and rightly.
    """

    known: int = 0
    of_patients: int = 0
    automatic: int = 0
    automatic_of_patients: int = 0
    first: int = 0
    first_few: int = 0
    wrong: list[str] = field(default_factory=list)

    def add(self, claim_id: str, decision: Decision, right: PersonId | None) -> None:
        """Judge one claim by whose it is, None for nobody on the register."""
        self.known += 1
        if decision.verdict == Verdict.AUTOMATIC:
            self.automatic += 1
            if right is None or decision.person_id != right:
                self.wrong.append(claim_id)
            else:
                self.automatic_of_patients += 1
        if right is not None:
            ranked = [candidate.person_id for candidate in decision.candidates]
            self.of_patients += 1
            self.first += right in ranked[:1]
            self.first_few += right in ranked[:FIRST_FEW]


def tally(answers: Iterable[Answered]) -> Tally:
    """Count the answers."""
    counted = Tally()
    for one in answers:
        counted.add(one.decision)
    return counted


def judge(answers: Iterable[Answered], truth: Mapping[str, str | None]) -> Judged:
    """Judge the answers whose truth is known."""
    judged = Judged()
    for one in answers:
        if one.claim_id in truth:
            judged.add(one.claim_id, one.decision, truth[one.claim_id])
    return judged
