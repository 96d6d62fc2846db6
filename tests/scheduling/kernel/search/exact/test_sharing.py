"""Two technicians at one lot share its head by their paces, as far as their days allow."""

from hypothesis import given
from hypothesis import strategies as st

from scheduling.kernel.search.exact.sharing import Shared, near_to_pace


def test_by_pace_where_both_have_room() -> None:
    lot = Shared((0, 1), (20.0, 30.0), (1, 49))
    room = {0: 80, 1: 0}
    near_to_pace([lot], room)
    assert lot.heads == (20, 30)
    assert room == {0: 61, 1: 19}


def test_as_near_as_the_day_of_one_of_them_allows() -> None:
    lot = Shared((0, 1), (25.0, 25.0), (9, 56))
    near_to_pace([lot], {0: 4, 1: 10})
    assert lot.heads == (13, 52)


_HEADS = st.tuples(st.integers(1, 60), st.integers(1, 60))
_RATES = st.tuples(st.floats(5, 40), st.floats(5, 40))


@given(st.lists(st.tuples(_HEADS, _RATES), max_size=6), st.integers(0, 50), st.integers(0, 50))
def test_the_sum_stays_nobody_has_too_many_or_none(
    lots: list[tuple[tuple[int, int], tuple[float, float]]], a: int, b: int
) -> None:
    shared = [Shared((0, 1), rates, heads) for heads, rates in lots]
    had = [sum(some.heads[i] for some in shared) for i in (0, 1)]
    room = {0: a, 1: b}
    near_to_pace(shared, room)
    assert [sum(some.heads) for some in shared] == [sum(heads) for heads, _ in lots]
    assert all(min(some.heads) >= 1 for some in shared)
    for i, most in ((0, a), (1, b)):
        assert sum(some.heads[i] for some in shared) <= had[i] + most
