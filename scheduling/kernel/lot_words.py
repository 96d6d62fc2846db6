"""Which lot of a group: the same words wherever somebody reads of one."""

LOT_WORDS = "lot %(lot)d of %(lots)d"


def fill_lot_words(lot: int, lots: int, words: str = LOT_WORDS) -> str:
    """ "lot 1 of 2"; nothing where the group goes through the chute as one. Both count from 1.

    `words`: `LOT_WORDS` in another language.
    """
    lots = max(lot, lots)
    return words % {"lot": lot, "lots": lots} if lots > 1 else ""
