"""The whys: every rule of the advice with its reason, what happens if it is ignored, and who printed it.

A reason, a date or a warning names its rule by `code`; a page opens `WHYS[code]`.
"""

from collections.abc import Mapping
from types import MappingProxyType

from scheduling.kernel.advice.whys.animals import ANIMALS
from scheduling.kernel.advice.whys.why import Why
from scheduling.kernel.advice.whys.work import WORK

# By what they are about, in the order in which a season meets them.
THEMES: Mapping[str, tuple[Why, ...]] = MappingProxyType({**ANIMALS, **WORK})
WHYS: Mapping[str, Why] = MappingProxyType({why.code: why for group in THEMES.values() for why in group})

__all__ = ["THEMES", "WHYS", "Why"]
