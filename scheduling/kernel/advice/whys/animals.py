"""Whys of the animals: heifers, cows, health, groups."""

from scheduling.kernel.advice import figures as by
from scheduling.kernel.advice.whys.why import Why

_HEIFERS = (
    Why(
        "target_weight",
        "Heifers at their share of mature weight",
        "A heifer that has reached her share of her herd's mature cow weight by breeding is far likelier to cycle. "
        "Reaching it does not promise that she cycles.",
        "Of 1,434 heifers, 74 % became pregnant at 50 % of mature weight, 80 % at 55 %, 83 % at 60 %, 85 % at 65 % and more.",
        (
            by.OKLAHOMA_SHARE_2024,
            by.VIRGINIA_HEIFERS_2001,
            by.HEAD_START,
            by.OHIO_TARGET,
            by.CANADA_AI,
            by.NEBRASKA_65,
            by.PRACTICE,
        ),
        "65 % is the traditional target; common practice says 55 to 65 %, a Canadian council 65 to 70 %, and trials in "
        "low-cost systems took 50 to 58 % without loss of later pregnancies.",
    ),
    Why(
        "mature_weight",
        "The herd's mature cow weight",
        "Target weights are shares of the weight of your own cows: five to ten years old, in condition 5, open or in the "
        "first third of pregnancy.",
        "Without it no target weight can be worked out, and frame sizes differ too much to guess.",
        (by.SOUTH_CENTRAL_HEIFERS,),
    ),
    Why(
        "weigh",
        "A weight that is recent",
        "A target and the gain to reach it can only be worked out from a weight, and a weight of long ago says little.",
        "Light heifers are found at the chute on the first day, when nothing can be done about it.",
        (by.PRACTICE,),
    ),
    Why(
        "age",
        "Old enough to breed",
        "Heifers younger than about a year at AI are often too immature to cycle.",
        "An insert is not for heifers too small or too young to breed.",
        (by.MEMORY, by.INSERT_LABEL),
    ),
    Why(
        "tract",
        "Tract scores",
        "A veterinarian scores the reproductive tract from 1 (infantile) to 5 (cycling). Scores 4 and 5 are cycling, "
        "3 is close to it, 1 and 2 are not.",
        "Pregnant to synchronized AI by score 1 to 5: 3, 23, 40, 55 and 55 %.",
        (by.VIRGINIA_TRACT_1998, by.MIDWEST_EXAM),
        "One sheet culls scores 1 and 2; another shows 74 % of score 2 pregnant by the end of the season.",
    ),
    Why(
        "tract_when",
        "When to score tracts",
        "Four to six weeks before breeding leaves time to feed, to vaccinate or to choose another programme.",
        "Scored too early, heifers change; scored too late, nothing can be changed.",
        (by.SYMPOSIUM_2012, by.TRACT_PRESS, by.MISSISSIPPI_EXAM_2018),
        "Other sheets print 30 to 60 days, 30 to 45 days, or just before the programme.",
    ),
    Why(
        "pelvis",
        "Room to calve",
        "Pelvic height times width finds heifers that are likely to need help at calving; 150 square centimetres is the "
        "usual least at the pre-breeding exam. One below it is measured again at the pregnancy exam, when 180 is the least.",
        "A calf heavier than her pelvis can deliver means a hard pull, a dead calf or a lost heifer.",
        (by.MIDWEST_EXAM, by.ARKANSAS_PELVIS, by.PELVIS_SALE_RULES, by.PELVIS_2009, by.PELVIS_GROWTH, by.PELVIS_RATIO),
    ),
)

_COWS = (
    Why(
        "condition",
        "Condition at breeding",
        "Cows in body condition 5 or better at breeding, and gaining rather than losing, cycle and settle. Young cows that "
        "still grow need the most care.",
        "Pregnant after 150 days by condition at breeding: 58 % at 4 or less, 85 % at 5, 95 % at 6 or more.",
        (by.TEXAS_CHARTS, by.SDSU_COWS_2015, by.KANSAS_CYCLING, by.PRACTICE),
        "A point of condition is 60 to 150 lb by sheet and frame; 80 lb is printed for a moderate frame.",
    ),
    Why(
        "condition_trend",
        "Gaining, not losing",
        "A cow that loses condition before breeding is telling you that her ration does not carry her milk.",
        "Cows that lose cycle later after calving than their score alone says.",
        (by.PRACTICE, by.TEXAS_CHARTS),
    ),
    Why(
        "days_insert",
        "Days since calving at the insert",
        "The label of the progesterone insert forbids it in a beef cow earlier than 20 days after calving; common practice "
        "waits until 21.",
        "The tract is not healed; the insert is then used against its label.",
        (by.INSERT_LABEL, by.PRACTICE),
    ),
    Why(
        "days_ai",
        "Days since calving at AI",
        "A cow is ready for AI from about 50 days after calving. Late calvers give poorer results, but synchronizing them is "
        "usually still worth trying, to start them cycling.",
        "Every ten days since calving add about 7.5 points to the share of cows that cycle.",
        (by.CANADA_AI, by.POSTPARTUM_2022, by.OKLAHOMA_HEAT_2009, by.KANSAS_CYCLING, by.PRACTICE),
        "50 days a cow is printed, 60 days at the start for GnRH programmes, 45 days as a group average is common practice.",
    ),
    Why(
        "uterus",
        "Time to heal after calving",
        "The uterus needs about 40 days to recover after calving.",
        "An AI before that is mostly a straw lost.",
        (by.OHIO_CONDITION_2020,),
    ),
    Why(
        "calving_date",
        "Her calving date",
        "Days since calving decide whether an insert is allowed and whether AI is worth while. Before she calves, the days "
        "that a pregnancy check told are counted on to 283; a scan at 32 to 110 days is right within 15 days in 19 of 20. "
        "Without them a year after her last calving is a guess.",
        "Cows too soon after calving go through the chute with the others.",
        (by.INSERT_LABEL, by.CANADA_AI, by.KANSAS_TALLY, by.GESTATION_GUIDE, by.DEFAULT),
    ),
)

_HEALTH = (
    Why(
        "boosters",
        "Boosters well before breeding",
        "Pre-breeding boosters are given at least 30 days before AI; animals that never had them usually need "
        "two doses, the second three to four weeks after the first. Clostridial vaccines do not count here: they do not "
        "guard the pregnancy. "
        "The veterinarian decides the health programme.",
        "Fever and reaction to a vaccine fall into the weeks of breeding.",
        (by.PRACTICE, by.MISSISSIPPI_EXAM_2018, by.MAINE_VACCINE, by.NELLORE_HEIFERS_2019, by.MLA_VACCINES),
        "Trials of vaccines 30 and 10 days before or at the start of a programme found no loss; their type was not seen.",
    ),
    Why(
        "primary_course",
        "Two doses the first time",
        "A killed vaccine that an animal has for the first time is usually given twice, three to four weeks apart, the second "
        "dose at least 30 days before AI. Of a heifer, the first dose on record counts as her first ever until an earlier one "
        "is typed; of a cow, an earlier dose is taken for granted.",
        "After one dose alone she is hardly protected.",
        (by.MLA_VACCINES, by.TEXAS_VACCINES, by.PRACTICE, by.MEMORY),
        "Labels differ: some take a second dose after two weeks (from memory), and some modified-live vaccines need one dose. "
        "The label and the veterinarian decide.",
    ),
    Why(
        "live_vaccine",
        "No modified-live vaccine close to AI",
        "A modified-live vaccine given to animals that never had it, close to breeding, inflames the ovaries.",
        "Heifers vaccinated eight days before AI: 48 % pregnant, against 90 % without and 86 to 90 % with a killed vaccine.",
        (by.NAIVE_TRIAL, by.SDSU_VACCINE_2018, by.HEIFER_IMMUNITY),
        "A month before is printed for animals vaccinated before, two months for a first dose; the label and the veterinarian "
        "decide.",
    ),
    Why(
        "pregnant",
        "Not pregnant",
        "PG ends a pregnancy, and AI can. A pregnant female stays out.",
        "She aborts.",
        (by.PG_DATA_SHEET, by.PG_LABEL, by.MEMORY),
    ),
    Why(
        "unknown_pregnancy",
        "Certainly open before PG",
        "Whoever may have been with a bull is checked for pregnancy before PG is given. A check counts for 60 days, a default "
        "of this program; a group that was kept from bulls needs none.",
        "PG given to a pregnant female makes her abort.",
        (by.PG_DATA_SHEET, by.PG_LABEL),
    ),
    Why(
        "hold",
        "Health hold",
        "An animal under a health hold is not worked until whoever set the hold lifts it.",
        "Treatment, withdrawal time or contagion meet the programme.",
        (by.PRACTICE,),
    ),
    Why(
        "insert_label",
        "Who an insert is not for",
        "The label keeps inserts from heifers of insufficient size or age and from females with an abnormal, immature or "
        "infected tract.",
        "The insert is used against its label and may hurt her.",
        (by.INSERT_LABEL,),
    ),
    Why(
        "mga_label",
        "MGA is for heifers",
        "MGA may be fed to heifers meant for breeding, at most 24 days; feeding it to cows is prohibited.",
        "It is unlawful use of a feed additive.",
        (by.MGA_LABEL, by.MGA_PROHIBITED),
    ),
)

_GROUPS = (
    Why(
        "average_days",
        "The group's average since calving",
        "A group of cows should average at least 45 days since calving at breeding.",
        "A group that calved late spreads again next year.",
        (by.PRACTICE,),
    ),
    Why(
        "youngest",
        "The latest calver",
        "The cow that calved last must be at least 21 days after calving when the insert goes in; the label says 20.",
        "One cow's insert is against the label.",
        (by.PRACTICE, by.INSERT_LABEL),
    ),
    Why(
        "tract_share",
        "Half of the heifers cycling",
        "If fewer than half of the heifers score 4 or 5, something about feed, age or health has to be put right first.",
        "The programme is paid for and few heifers answer to it.",
        (by.SYMPOSIUM_2012, by.PRACTICE),
    ),
    Why(
        "average_condition",
        "The group's average condition",
        "A group that averages condition 5 or better at breeding has most cows cycling.",
        "Thin groups lose a third of their pregnancies.",
        (by.PRACTICE, by.TEXAS_CHARTS),
    ),
    Why(
        "second_group",
        "A second group for late calvers",
        "Cows that calved late can be a group of their own with a later AI day instead of dragging the first one down.",
        "They are inseminated too early, or left to the bulls without having been started cycling.",
        (by.CANADA_AI, by.PRACTICE),
    ),
)

ANIMALS = {"Heifers": _HEIFERS, "Cows": _COWS, "Health": _HEALTH, "The group": _GROUPS}
