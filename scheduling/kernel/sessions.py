"""How many animals an AI session must be ready for."""

from math import ceil, sqrt

from scheduling.kernel.protocol import Protocol, Step

# One-sided 90 % point of the normal distribution (standard tables).
_NORMAL_90 = 1.2816
# Share in heat by the first session of split-time AI. 66 h: 62 %, "Evaluation of later timepoints for fixed-time artificial
# insemination of beef heifers and cows when using sex-sorted semen", journal abstract, about 2022-24 (1,640 heifers).
# 72 h: 76 %, "Evaluation of later timepoints for split-time AI when using sex-sorted semen among beef heifers", Animal
# Reproduction Science, 2020-21 (794 heifers).
_SHARE_BY_66_H, _SHARE_BY_72_H = 0.62, 0.76


def share_in_heat(target_h: float) -> float:
    """Expected share of animals in heat by `target_h` hours after PG, for split-time AI."""
    return _SHARE_BY_72_H if target_h >= 70 else _SHARE_BY_66_H


def session_head(protocol: Protocol, step: Step, head: int) -> int:
    """Head to reserve for at an AI session.

    One session takes the lot. With split-time AI each session is reserved for with 90 % certainty, so that the two
    together hold more than the lot; what the first leaves free is known when it closes.
    """
    if len(protocol.ai_steps) < 2:
        return head
    first = protocol.ai_steps[0]
    share = share_in_heat(first.after.target_h if first.after else 66)
    if step.key != first.key:
        share = 1 - share
    return min(head, ceil(head * share + _NORMAL_90 * sqrt(head * share * (1 - share))))
