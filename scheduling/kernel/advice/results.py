"""Published pregnancy rates to AI by protocol and semen, each with its head and source. No figure in print, no row.

`rate` is pregnant of treated. Trials that print only the conception of those in heat are not in it.
"""

from dataclasses import dataclass
from enum import StrEnum

from scheduling.kernel.advice.figures import Cited, Ground


class Semen(StrEnum):
    """Conventional or sex-sorted semen."""

    CONVENTIONAL = "conventional"
    SEXED = "sex-sorted"


@dataclass(frozen=True, slots=True)
class Published:
    """One printed rate. `head` is that of the arm, or of the whole trial where `whole_trial`; None where none was seen."""

    protocol: str
    semen: Semen
    rate: float
    head: int | None
    whole_trial: bool
    source: Cited
    note: str = ""


def _source(title: str, publisher: str, year: str) -> Cited:
    return Cited(Ground.PRINT, title, publisher, year)


_KANSAS_2004 = _source(
    "Cattlemen's Day 2004 report 04-242-S: timed AI or estrus detection in replacement heifers, n=2,077",
    "Kansas Agricultural Experiment Station",
    "2004",
)
_SPLIT_COWS = _source(
    "Split-time AI in suckled beef cows (55/75 h v. 65 h ...)",
    "Kansas Agricultural Experiment Station Research Reports 4(2)",
    "2018",
)
_DELAYED = _source(
    "Delayed insemination of nonestrous heifers and cows when using conventional semen in timed AI",
    "Journal of Animal Science / ASAS annual meeting abstract",
    "2014",
)
_SPLIT_HEIFERS = _source(
    "Split-time AI in beef cattle II: pregnancy rates among nonestrous heifers based on administration of GnRH at AI",
    "Theriogenology (journal from memory)",
    "about 2017",
)
_SPLIT_SEXED = _source(
    "Evaluation of later timepoints for split-time AI when using sex-sorted semen among beef heifers",
    "Animal Reproduction Science",
    "2020-21",
)
_SEVEN_SEVEN = _source(
    "7 & 7 Synch compared with 7-day CO-Synch + insert before FTAI with conventional or sex-sorted semen, n=1,538 cows",
    "Theriogenology (journal from memory)",
    "about 2021",
)
_TWO_YEAR_OLDS = _source(
    "7 & 7 Synch v. 7-day CO-Synch + insert in mature and two-year-old cows, Y-sorted semen, n=201",
    "meeting abstract",
    "about 2021-23",
)
_PRESYNCH = _source(
    "Presynchronization with PGF2a and prolonged exposure to exogenous progesterone impacts estrus expression and fertility "
    "in beef heifers",
    "Journal of Animal Science (journal from memory)",
    "about 2020",
)
_PRESYNCH_SEXED = _source(
    "Pre-synchronization of ovulation timing and delayed FTAI increases pregnancy rates when sex-sorted semen is used for "
    "insemination of heifers",
    "Animal Reproduction Science (journal from memory)",
    "about 2021",
)
_MGA_2004 = _source(
    "MGA-PGF2a, Select Synch and MGA-Select Synch in heifers", "Professional Animal Scientist 20:384-387", "2004"
)
_TEN_MONTHS = _source(
    "Abstract 444: MGA versus insert estrus synchronization in 311-d-old beef heifers",
    "University of Nebraska, joint annual meeting",
    "about 2015",
)
_MGA_SELECT = _source(
    "Improving on a common synchronization protocol for heifers", "extension summary in trade press", "2011"
)
_LONG_INSERT = _source(
    "Long-term [insert] program for synchronization of estrus in beef heifers produces acceptable AI pregnancy rates",
    "Kansas State University",
    "about 2010",
)
_BOS_INDICUS = _source(
    "FTAI in Bos indicus-influenced beef cows using PGF2a with or without GnRH at the onset of the 5-day CO-Synch + insert "
    "protocol",
    "Texas A&M University (journal article record)",
    "about 2019-20",
)
_THREE_YEARS = _source(
    "Three-year trial of sex-selected or conventional semen with TAI 63-66 h, n=240 cows",
    "meeting abstract",
    "about 2019",
)
_CONV, _SEXED = Semen.CONVENTIONAL, Semen.SEXED

PUBLISHED: tuple[Published, ...] = (
    Published("heifer_select_synch_insert_tai", _CONV, 0.573, 2_077, True, _KANSAS_2004, "12 sites"),
    Published("heifer_7d_cosynch_insert", _CONV, 0.531, 2_077, True, _KANSAS_2004, "AI at 60 h; sites 38 to 74 %"),
    Published("heifer_7d_cosynch_insert", _CONV, 0.504, None, True, _PRESYNCH_SEXED, "AI at 54 h"),
    Published("heifer_14d_insert_pg_ftai", _CONV, 0.46, 931, True, _DELAYED),
    Published("heifer_14d_insert_pg_split", _CONV, 0.54, 931, True, _DELAYED, "the rest 20 h later"),
    Published("heifer_14d_insert_pg_split", _CONV, 0.54, 1_138, True, _SPLIT_HEIFERS, "GnRH at 90 h"),
    Published("heifer_14d_insert_pg_split", _CONV, 0.56, 1_138, True, _SPLIT_HEIFERS, "no GnRH at 90 h"),
    Published("heifer_14d_insert_pg_split", _CONV, 240 / 404, 404, False, _SPLIT_SEXED),
    Published("heifer_14d_insert_pg_sexed_split", _SEXED, 187 / 390, 390, False, _SPLIT_SEXED),
    Published("heifer_14d_insert_pg_hd", _CONV, 0.463, 153, True, _TEN_MONTHS, "10 months old; 115 were bred"),
    Published("heifer_14d_insert_select", _CONV, 0.55, None, True, _LONG_INSERT, "field trials, low end"),
    Published("heifer_14d_insert_select", _CONV, 0.60, None, True, _LONG_INSERT, "field trials, high end"),
    Published("heifer_mga_pg_hd", _CONV, 0.61, 209, False, _MGA_2004),
    Published("heifer_mga_pg_hd", _CONV, 0.361, 153, True, _TEN_MONTHS, "10 months old; 115 were bred"),
    Published("heifer_mga_select", _CONV, 0.71, None, True, _MGA_SELECT, '"near 71 %"'),
    Published("heifer_pg_presynch_7d_cosynch_insert", _CONV, 0.488, 1_700, True, _PRESYNCH, "AI at 72 h"),
    Published("heifer_pg_presynch_7d_cosynch_insert", _SEXED, 0.461, None, True, _PRESYNCH_SEXED, "AI at 72 h"),
    Published("heifer_7d_cosynch_insert", _SEXED, 0.369, None, True, _PRESYNCH_SEXED, "AI at 54 h"),
    Published("heifer_7_7_synch", _CONV, 0.504, 1_700, True, _PRESYNCH, "AI at 54 h"),
    Published("cow_7_7_synch", _CONV, 280 / 389, 389, False, _SEVEN_SEVEN),
    Published("cow_7_7_sexed", _SEXED, 199 / 380, 380, False, _SEVEN_SEVEN),
    Published("cow_7_7_sexed", _SEXED, 0.524, 201, True, _TWO_YEAR_OLDS, "mature cows; two-year-olds 33.4 %"),
    Published(
        "cow_7d_cosynch_insert_sexed", _SEXED, 0.449, 201, True, _TWO_YEAR_OLDS, "mature cows; two-year-olds 56.7 %"
    ),
    Published("cow_7d_cosynch_insert_sexed", _SEXED, 0.397, 240, True, _THREE_YEARS),
    Published("cow_7d_cosynch_insert", _CONV, 0.479, 240, True, _THREE_YEARS),
    Published("cow_7d_cosynch_insert_split", _CONV, 0.63, 1_062, True, _SPLIT_COWS, "65 and 85 h"),
    Published("cow_7d_cosynch_insert_split", _CONV, 0.58, 1_062, True, _SPLIT_COWS, "55 and 75 h"),
    Published("bi_cow_pg_5d_cosynch_insert", _CONV, 0.526, 269, True, _BOS_INDICUS),
    Published("bi_cow_pg_5d_cosynch_insert", _CONV, 0.517, 422, False, _BOS_INDICUS),
)
# The 5-day cow protocol was printed in Bos indicus-influenced cows only; it is their figure, not that of other cows.
PUBLISHED_BOS_INDICUS: tuple[Published, ...] = (
    Published("cow_5d_cosynch_insert", _CONV, 0.349, 168, False, _BOS_INDICUS, "AI at 72 h"),
    Published("cow_5d_cosynch_insert", _CONV, 0.404, 269, True, _BOS_INDICUS, "AI at 66 h"),
)


@dataclass(frozen=True, slots=True)
class Expected:
    """What is in print for a protocol: lowest, middle (weighted by head) and highest rate, over how many rows."""

    low: float
    middle: float
    high: float
    rows: tuple[Published, ...]


def expected(protocol: str, semen: Semen, *, bos_indicus: bool) -> Expected | None:
    """The printed range for a protocol with this semen; None where no figure is in print.

    Rows without a head count weigh as the smallest that has one (as one where none has). Figures of other cows are not used
    for Bos indicus-influenced ones.
    """
    table = PUBLISHED_BOS_INDICUS + PUBLISHED if bos_indicus else PUBLISHED
    rows = tuple(row for row in table if row.protocol == protocol and row.semen is semen)
    if bos_indicus:
        rows = tuple(row for row in rows if row.source is _BOS_INDICUS)
    if not rows:
        return None
    least = min((row.head for row in rows if row.head), default=1)
    heads = [row.head or least for row in rows]
    middle = sum(row.rate * head for row, head in zip(rows, heads, strict=True)) / sum(heads)
    rates = [row.rate for row in rows]
    return Expected(min(rates), min(max(middle, min(rates)), max(rates)), max(rates), rows)
