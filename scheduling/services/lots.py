"""Which lot of a group, in the reader's language: pages, messages and events say it by these words alone."""

from django.utils.translation import gettext

from scheduling.kernel.lot_words import LOT_WORDS, fill_lot_words

__all__ = ["LOT_WORDS", "fill_lot_words", "lot_on_page", "lot_words", "with_lot"]


def lot_words(lot: int, lots: int) -> str:
    """ "lot 1 of 2" in the language in force; nothing where the group is not cut. Both count from 1."""
    return fill_lot_words(lot, lots, gettext(LOT_WORDS))


def lot_on_page(lot: int, lots: int) -> str:
    """The same, held together by spaces that do not break: "lot" at the end of a line says nothing."""
    return lot_words(lot, lots).replace(" ", "\u00a0")


def with_lot(group: str, words: str) -> str:
    """The group's name, and which lot of it where it is cut: "Willow, lot 1 of 2"."""
    return f"{group}, {words}" if words else group
