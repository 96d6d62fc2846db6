"""What is special about a step of a protocol, so that reminders can be tied to it: insert out, second PG."""

from functools import cache

from scheduling.kernel.protocol import Action, Protocol, Step, Substance
from scheduling.services.catalogue import protocol_of, trip_heads

# A PG that follows another PG within half a day is the second dose of one treatment (five-day programmes: 8 hours).
_SECOND_WITHIN_H = 12.0


@cache
def marks_of(protocol_id: str) -> dict[str, frozenset[str]]:
    """Marks of every trip head of the protocol, by its key.

    `chute`: animals go through the chute; `insert_out`, `second_pg`, `mga_last`, `bulls`; `session_1` and `session_2` of
    split-time AI.
    """
    protocol = protocol_of(protocol_id)
    if protocol is None:
        return {}
    heads = [protocol.by_key[key] for key in trip_heads(protocol_id)]
    return {
        head.key: frozenset(mark for step in _trip(protocol, head) for mark in _marks(protocol, step)) for head in heads
    }


def _trip(protocol: Protocol, head: Step) -> list[Step]:
    return [step for step in protocol.steps if step.trip is not None and step.trip == head.trip] or [head]


def _marks(protocol: Protocol, step: Step) -> set[str]:
    doses = {substance: [s for s in protocol.steps if s.substance is substance] for substance in Substance}
    found = {"chute"} if step.trip is not None else set()
    if step.action is Action.REMOVE and step.substance is Substance.INSERT:
        found.add("insert_out")
    if step.substance is Substance.PG and _is_second(protocol, step):
        found.add("second_pg")
    if doses[Substance.MGA] and step is doses[Substance.MGA][-1]:
        found.add("mga_last")
    if step.action is Action.TURN_OUT:
        found.add("bulls")
    return found | _ai_marks(protocol, step)


def _is_second(protocol: Protocol, step: Step) -> bool:
    before = protocol.by_key.get(step.after.step) if step.after else None
    return (
        before is not None
        and before.substance is Substance.PG
        and step.after is not None
        and 0 < step.after.target_h <= _SECOND_WITHIN_H
    )


def _ai_marks(protocol: Protocol, step: Step) -> set[str]:
    sessions = protocol.ai_steps
    return {f"session_{sessions.index(step) + 1}"} if step in sessions and len(sessions) > 1 else set()
