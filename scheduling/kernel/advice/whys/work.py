"""Whys of the work: after AI, heat, preparation, choice of programme, money."""

from scheduling.kernel.advice import figures as by
from scheduling.kernel.advice.whys.why import Why

_AFTER = (
    Why(
        "haul",
        "Hauling after AI",
        "Days 1 to 4 after AI are the safest to haul. From day 5 until day 42 the embryo reaches the womb, hatches and "
        "attaches; hauling costs pregnancies. Until day 60 some risk is left.",
        "Pregnant to synchronized AI: 74 % hauled on days 1 to 4, 62 % on days 8 to 12, 65 % on days 29 to 33.",
        (by.OHIO_HAULING_2015, by.SDSU_MOVEMENT, by.SDSU_SHIPPING_2007),
        "One sheet starts the closed band on day 6. Days 43 and 44 are in no sheet; they are counted as closed. Common "
        "practice says days 2 to 5.",
    ),
    Why(
        "feed",
        "Same feed and place around AI",
        "Keep feed and place the same from three weeks before until three weeks after AI, or change at least four weeks "
        "before; otherwise feed a supplement for six weeks.",
        "Heifers turned from drylot to grass at AI: 36.8 % pregnant to AI, against 52.2 % of those turned out 50 days before.",
        (by.DRYLOT_TRIAL, by.SDSU_POST_AI, by.MIDWEST_NUTRITION, by.PRACTICE),
        "Heifers raised on forage that went back to forage lost nothing in one trial.",
    ),
    Why(
        "bulls_in",
        "When bulls go in",
        "Trials turned bulls in ten days after AI. Fourteen days keep AI calves and bulls' calves further apart.",
        "With bulls in at once nobody can tell the calves apart.",
        (by.KENTUCKY_PAY_2011, by.KANSAS_TALLY, by.MEMORY),
    ),
    Why(
        "bull_ratio",
        "Females to a bull",
        "As a rule one female for each month of the bull's age, up to 25 to 35 for a mature bull. Females that return after "
        "one timed AI come in heat over 10 to 12 days, so bulls are busy.",
        "Too few bulls leave returns unbred; too many cost money.",
        (
            by.OKLAHOMA_RATIOS_2022,
            by.KANSAS_SIRES,
            by.NEBRASKA_YEARLING_2013,
            by.NEBRASKA_RATIO_2016,
            by.VIRGINIA_RATIO_THESIS,
        ),
        "Field data on 14,868 females found no loss up to one bull to 73 females after AI.",
    ),
    Why(
        "bull_exam",
        "Bulls examined before turn-in",
        "A breeding soundness exam 30 to 60 days before turn-in, every year, leaves time to replace a bull that fails.",
        "About one bull in five fails.",
        (by.ARKANSAS_BULLS,),
    ),
    Why(
        "heat_watch",
        "Watch for returns",
        "A female that did not settle comes back in heat about 21 days after AI, most between days 18 and 23.",
        "She is found open at the pregnancy check, a cycle or more later.",
        (by.LSU_HEAT, by.MEMORY),
    ),
    Why(
        "resync",
        "A second AI round",
        "An insert from day 14 until day 21 after AI gathers the returns within a few days after it comes out.",
        "Returns stretch over two weeks of heat detection.",
        (by.KENTUCKY_RESYNC_2012,),
    ),
    Why(
        "preg_check",
        "Pregnancy checks",
        "Scans tell from about day 28 to 35, palpation from day 35 to 45, a blood test from day 28 and not before 60 to 90 "
        "days after calving.",
        "Checked too early, open females are missed and early pregnancies may be lost.",
        (by.MERCK_PREGNANCY, by.TEXAS_EARLY_2021, by.NDSU_TOOLS_2020, by.FLORIDA_PREGNANCY_2015, by.SDSU_DIAGNOSIS),
    ),
    Why(
        "ai_or_bull",
        "AI calf or bull's calf",
        "A scan tells an AI pregnancy from a bull's while the bull's is at least 28 days old and the AI pregnancy not over 90.",
        "Calves are given to the wrong sire.",
        (by.KANSAS_TALLY, by.NDSU_DROUGHT),
    ),
    Why(
        "gestation",
        "How long she carries",
        "Cattle carry about 283 days; breeds differ by a week, cows carry two days longer than heifers and bull calves "
        "longer than heifer calves.",
        "Calving is watched too late: a first full-term calf came 13 days early in one herd.",
        (by.GESTATION_GUIDE, by.NEVADA_GESTATION, by.MAY_CALVING_2014),
        "Some sheets count 285 days.",
    ),
)

_HEAT = (
    Why(
        "cattle_heat",
        "Heat on cattle",
        "The temperature-humidity index adds damp to heat. From 75 cattle need care, from 79 they are in danger, from 84 they "
        "are not worked or hauled.",
        "Body temperature climbs 1 to 2 degrees Fahrenheit by handling alone; pregnancies fall by 1.6 points for each unit "
        "above 65 in the first month of breeding.",
        (
            by.CLEMSON_HEAT,
            by.NEBRASKA_LIMIT_2024,
            by.NEBRASKA_TEMPERATURE_2017,
            by.NEBRASKA_BREEDING_HEAT,
            by.AUSTRALIA_THI,
        ),
        "Dairy sheets start at 68 or 72; Brahman-type cattle stand more.",
    ),
    Why(
        "morning",
        "Work cattle in the morning",
        "In summer work cattle before 8, never after 10. The evening is not safe: their body heat peaks about two hours after "
        "the air and needs four to six hours to fall.",
        "Heat and handling add up, and pregnancies are lost.",
        (by.NEBRASKA_HANDLING,),
    ),
    Why(
        "night_recovery",
        "Nights that cool cattle",
        "Cattle shed the day's heat only when the night is below 70 F for at least four hours.",
        "Heat piles up from day to day.",
        (by.NEBRASKA_NIGHT_2023,),
    ),
    Why(
        "people_heat",
        "Heat on people",
        "The heat index says how hot it feels. Full sun adds up to 15 F. Water, shade, breaks and somebody who watches you.",
        "Heat exhaustion and heat stroke; call for help at once when somebody is confused or stops sweating.",
        (by.EMPLOYERS_HEAT, by.MODERATE_HEAT),
    ),
)

_PREPARATION = (
    Why(
        "facility",
        "Chute, alley and crew",
        "A programme takes two to three trips through the chute or more; it is only as good as the chute and the crew.",
        "People and cattle get hurt, and animals miss the hours they need.",
        (by.PRACTICE,),
    ),
    Why(
        "order_semen",
        "Order semen and drugs in time",
        "Everything that a programme needs is on the place before its first day. Prescription products need the veterinarian.",
        "A missing dose cannot be made up: the days do not wait.",
        (by.MEMORY,),
    ),
    Why(
        "ration",
        "Ration changes early",
        "A ration that has to add weight or condition needs weeks, and no change falls close to AI.",
        "Gain comes too late, or a change of feed lowers results.",
        (by.OHIO_TARGET, by.SDSU_POST_AI),
    ),
    Why(
        "safety",
        "Handling PG, needles and liquid nitrogen",
        "PG goes through the skin: pregnant women and people with asthma keep away from it, everybody wears waterproof gloves. "
        "Labels, local rules and the veterinarian decide; this program plans and does not prescribe.",
        "Miscarriage, asthma attacks, needle sticks, cold burns, suffocation.",
        (by.PG_DATA_SHEET, by.PG_LABEL),
    ),
)

_CHOICE = (
    Why(
        "heat_detection",
        "Watching for heat",
        "Watch at least three times a day: an hour each time for heifers, half an hour for cows. Inseminate about 12 hours "
        "after the first standing heat. Four in five females in heat are found by good watching.",
        "Heats begin at night more often than by day; who is not seen is not inseminated.",
        (by.HEIFER_SHEET_2020, by.COWS_IN_SYNCH, by.OKLAHOMA_HEAT_2009),
    ),
    Why(
        "expected_rate",
        "The pregnancy rate to expect",
        "Pregnant of all treated, as printed for that programme and semen with the head of the trial. Your own figure stands "
        "in its place once you have one. A small group may miss it widely by chance alone.",
        "One animal of 20 is five points; of three inseminated only 0, 33, 67 or 100 % are possible.",
        (by.KANSAS_MEASURING,),
    ),
    Why(
        "lots",
        "The largest lot",
        "Every animal must be inseminated inside the programme's hours after PG, and a session should take no more than three "
        "to four hours. Animals kept in order drift less than animals in any order.",
        "The last animals are inseminated too late.",
        (by.KANSAS_SESSION,),
    ),
)

_MONEY = (
    Why(
        "cost_per_pregnancy",
        "Cost per AI pregnancy",
        "What one treated female costs, over the share that becomes pregnant. It falls as the pregnancy rate rises.",
        "A cheap programme with few pregnancies looks better than it is.",
        (by.AI_COST_2012, by.KENTUCKY_PAY_2011),
    ),
    Why(
        "bull_cost",
        "What a bull costs",
        "Price less what he sells for, over his years; interest on his mean value; risk of death; feed, veterinarian and work.",
        "Natural service looks free.",
        (by.WYOMING_COSTS_2013, by.TEXAS_BULL_COST, by.KENTUCKY_BULL),
        "Sheets leave out interest, death or work; their printed totals differ for that reason.",
    ),
    Why(
        "partial_budget",
        "What changes, and nothing else",
        "Added returns and reduced costs, less reduced returns and added costs. What stays the same is left out.",
        "Costs that fall anyway are charged to AI, or savings are forgotten.",
        (by.KENTUCKY_BENEFITS_1998,),
    ),
    Why(
        "earlier_calves",
        "Calves that are older at weaning",
        "Each day that a calf is older at weaning is worth about 2.4 lb.",
        "A later calf crop is lighter.",
        (by.RANGE_SYMPOSIUM_2009, by.CANADA_COSTS, by.IDAHO_VALUE_2020),
        "Sheets print 20 to 44 lb for 10 to 17 days, and 35 to 50 lb for 21 days.",
    ),
    Why(
        "prices",
        "Prices",
        "Defaults are printed prices of their year. Type what you pay.",
        "Budgets rest on another year's prices.",
        (by.OHIO_PRICES_2020, by.SDSU_BULLS_2020, by.USING_MGA_2015, by.DEFAULT),
    ),
    Why(
        "shared_costs",
        "Costs that ranches share",
        "A technician day, km or a barn is split by the rule that the co-op has set: by head, in equal parts, by km, or half "
        "and half. The parts add up to the cent.",
        "Somebody pays the cents that nobody counted, or the dispute about them.",
        (by.DEFAULT,),
    ),
)

WORK = {
    "Before AI": _PREPARATION,
    "After AI": _AFTER,
    "Heat": _HEAT,
    "Choice of programme": _CHOICE,
    "Money": _MONEY,
}
