"""A co-op's own window for a step, with the reason on record."""

from dataclasses import replace

from scheduling.kernel.protocol import HourRule, Protocol
from scheduling.kernel.reader import ReadError


def adjusted(protocol: Protocol, *, step: str, min_h: float, target_h: float, max_h: float, reason: str) -> Protocol:
    """The protocol with another hour window at `step`; `ReadError` names what does not fit."""
    if step not in protocol.by_key or protocol.by_key[step].after is None:
        raise ReadError("step", "a step with an hour rule: " + ", ".join(s.key for s in protocol.steps if s.after))
    if not 0 <= min_h <= target_h <= max_h:
        raise ReadError("target_h", "hours in the order min_h, target_h, max_h")
    if len(reason.strip()) < 5:
        raise ReadError("reason", "a sentence that says why, and who advised it")
    changed = []
    for item in protocol.steps:
        if item.key == step and item.after is not None:
            changed.append(replace(item, after=HourRule(item.after.step, target_h, min_h, max_h, stated=True)))
        else:
            changed.append(item)
    note = f"{step}: {min_h:g} to {max_h:g} h, target {target_h:g} h. {reason.strip()}"
    return replace(protocol, steps=tuple(changed), adjustments=(*protocol.adjustments, note))
