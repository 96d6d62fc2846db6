"""The checker's sentences, for people."""

import pytest

from scheduling.services.wording import Wording

GROUP, OTHER = "11111111-2222-3333-4444-555555555555", "aaaaaaaa-bbbb-cccc-dddd-eeeeeeeeeeee"
CUT = "99999999-2222-3333-4444-555555555555"
WORDS = Wording(
    {GROUP: "Upper: Cows", CUT: "Upper: Heifers", OTHER: "Kit Sorrel"},
    {GROUP: "cow_7d_cosynch_insert", CUT: "cow_7d_cosynch_insert"},
    {GROUP: 1, CUT: 2},
)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            f"Animals of group {GROUP}, lot 1, get ai 57.00 to 59.10 h after pg; the protocol asks for 60 to 66 h.",
            "Animals of Upper: Cows get Timed AI 57.00 to 59.10 h after PG (put patches on); the protocol asks for "
            "60 to 66 h.",
        ),
        (
            f"Animals of group {CUT}, lot 1, get ai 57.00 to 59.10 h after pg; the protocol asks for 60 to 66 h.",
            "Animals of Upper: Heifers, lot 1 of 2, get Timed AI 57.00 to 59.10 h after PG (put patches on); the protocol asks for "
            "60 to 66 h.",
        ),
        (
            f"pg of group {CUT}, lot 2, at Upper runs until 20:12.",
            "PG (put patches on) of Upper: Heifers, lot 2 of 2, at Upper runs until 20:12.",
        ),
        (
            f"Step gnrh1 of group {GROUP} was done on Mon 3 May, 06:00 and must stay there.",
            "GnRH of Upper: Cows was done on Mon 3 May, 06:00 and must stay there.",
        ),
        (f"{OTHER} goes from Upper on 2027-05-10.", "Kit Sorrel goes from Upper on Mon 10 May."),
        (f"Group {GROUP} asks for sexed semen.", "Upper: Cows asks for sexed semen."),
        (f"A visit to group {OTHER[::-1]} is odd.", f"A visit to group {OTHER[::-1]} is odd."),
    ],
)
def test_names_stand_for_ids_words_for_keys_and_weekdays_for_dates(text: str, said: str) -> None:
    assert WORDS.say(text) == said
