"""Who printed a figure: the sources that the advice rests on, each named once.

A figure that drives a computation stands beside the rule that uses it, with one of these. Where nobody printed it, it
says so: common practice, from memory, or a default of this program.
"""

from dataclasses import dataclass
from enum import StrEnum


class Ground(StrEnum):
    """What a figure rests on, in the words that are shown beside it."""

    PRINT = "in print"
    PRACTICE = "common practice, no published source"
    MEMORY = "from memory, not confirmed in print"
    WORKED_OUT = "worked out from printed figures"
    DEFAULT = "a default of this program, no source"


@dataclass(frozen=True, slots=True)
class Cited:
    """A source: title, publisher and year where it is in print, else only its ground."""

    ground: Ground
    title: str = ""
    publisher: str = ""
    year: str = ""

    @property
    def words(self) -> str:
        """The source as it is shown to people."""
        if not self.title:
            return self.ground.value
        printed = f'"{self.title}", {self.publisher}, {self.year}'
        return printed if self.ground is Ground.PRINT else f"{printed} ({self.ground.value})"


def _printed(title: str, publisher: str, year: str = "undated") -> Cited:
    return Cited(Ground.PRINT, title, publisher, year)


PRACTICE = Cited(Ground.PRACTICE)
MEMORY = Cited(Ground.MEMORY)
DEFAULT = Cited(Ground.DEFAULT)

# Heifers: weight, gain, tract, pelvis.
VIRGINIA_HEIFERS_2001 = _printed(
    "Understanding Reproductive Evaluations of Replacement Heifers", "Virginia Cooperative Extension", "2001"
)
SOUTH_CENTRAL_HEIFERS = _printed(
    "South Central: Heifer development considerations", "farm press, extension author", "about 2023"
)
HEAD_START = _printed("Head start for heifers", "farm press on extension data")
OKLAHOMA_SHARE_2024 = _printed(
    "Effect of heifer percent mature body weight at breeding", "Oklahoma State University Extension", "2024"
)
CANADA_AI = _printed("Artificial Insemination in Beef Cattle", "Beef Cattle Research Council, Canada")
NEBRASKA_65 = _printed("Do heifers need to be developed to 65 percent?", "University of Nebraska, reprint")
OHIO_TARGET = _printed("Heifer Development: Target Weight Concept", "Ohio State University Extension")
VIRGINIA_TRACT_1998 = _printed(
    "Reproductive Tract Scoring Replacement Heifers", "Virginia Cooperative Extension", "1998"
)
TRACT_PRESS = _printed("Reproductive tract scoring can improve yearling heifer performance", "farm press")
SYMPOSIUM_2012 = _printed(
    "Control of Estrus in Heifers, symposium summary",
    "national consensus group of beef reproduction specialists",
    "2012",
)
MIDWEST_EXAM = _printed(
    "Use heifer pre-breeding exams as a culling tool", "a Midwestern state university extension, farm press"
)
MISSISSIPPI_EXAM_2018 = _printed("Heifer breeding soundness exams", "Mississippi State University, reprint", "2018")
ARKANSAS_PELVIS = _printed(
    "Pelvic Area Measurements in the Management of Replacement Heifers", "University of Arkansas, reprint"
)
PELVIS_SALE_RULES = _printed("Bred-heifer sale rules (regional programme)", "sale catalogue")
PELVIS_2009 = _printed("Pelvic measurements", "farm press on a Midwestern state university extension", "2009")
PELVIS_RATIO = _printed(
    "Relationships of pelvic structure, body measurements, pelvic area and calving difficulty", "journal abstract"
)
PELVIS_GROWTH = _printed(
    "Pelvic Growth and Dystocia in Holstein X Hereford Heifers", "American Association of Bovine Practitioners"
)

# Cows: condition and time since calving.
OHIO_CONDITION_2020 = _printed(
    "Body Condition Scoring, Beef Cow Nutrition and Reproduction", "Ohio State University Extension", "2020"
)
TEXAS_CHARTS = _printed("Various Body Condition Scoring System Charts", "Texas A&M AgriLife Extension, Vernon")
KANSAS_CYCLING = _printed("Factors affecting the percentage of cows cycling", "Kansas State University, reprint")
INSERT_LABEL = _printed("21 CFR 529.1940 Progesterone intravaginal inserts", "US Food and Drug Administration")
POSTPARTUM_2022 = _printed("Postpartum recovery", "Texas A&M-Kingsville author, breed magazine", "2022")
OKLAHOMA_HEAT_2009 = _printed("Heat detection efficiency", "Oklahoma State University Extension, reprint", "2009")
SDSU_COWS_2015 = _printed(
    "2015 Beef Cow Synchronization Protocols", "South Dakota State University text, reposted", "2015"
)

# Vaccination, safety and labels.
NAIVE_TRIAL = _printed("Vaccination of naive heifers at synchronization", "journal abstract (59 heifers)")
SDSU_VACCINE_2018 = _printed(
    "Caution with modified-live vaccines in breeding cattle", "South Dakota State University, farm press", "2018"
)
NELLORE_HEIFERS_2019 = _printed("Nellore heifers, vaccination protocols in FTAI", "journal (763 heifers)", "2019")
MLA_VACCINES = _printed("Types of vaccines", "Meat & Livestock Australia, online course")
TEXAS_VACCINES = _printed("Modified VS Live Vaccines", "Texas Beef Quality Producer programme")
HEIFER_IMMUNITY = _printed(
    "Pre-breeding heifer immunology", "Bovine Veterinarian, South Dakota State University author"
)
MAINE_VACCINE = _printed("Beef Cattle Herd Health Vaccination Guide, Bulletin 1031", "University of Maine Extension")
PG_DATA_SHEET = _printed("UK data sheet, dinoprost", "UK animal-health compendium")
PG_LABEL = _printed("21 CFR 522.460 Cloprostenol", "US Food and Drug Administration")
MGA_LABEL = _printed("21 CFR 558.342 Melengestrol", "US Food and Drug Administration")
MGA_PROHIBITED = _printed(
    "Beef estrus synchronization protocols update", "a Midwestern state university extension", "about 2008"
)

# Calving.
GESTATION_GUIDE = _printed("Gestation Length (guideline)", "Beef Improvement Federation")
NEVADA_GESTATION = _printed("Gestation length of the beef cow versus dystocia", "Nevada Extension, reprint")
MAY_CALVING_2014 = _printed("May calving, bull turnout Aug. 1", "North Dakota State University column", "2014")
RANGE_SYMPOSIUM_2009 = _printed(
    "Heifer development and post-AI management, Range Beef Cow Symposium XXI",
    "South Dakota State University and University of Nebraska",
    "2009",
)

# After AI.
OHIO_HAULING_2015 = _printed("Hauling Pregnant Cows", "Ohio State University Extension", "2015")
SDSU_MOVEMENT = _printed("Movement/transportation after AI", "South Dakota State University, reprint")
SDSU_SHIPPING_2007 = _printed(
    "Effects of Shipping and Heat Stress on Embryonic Mortality", "South Dakota State University", "2007"
)
SDSU_POST_AI = _printed(
    "Replacement heifer management post-artificial insemination", "South Dakota State University Extension"
)
MIDWEST_NUTRITION = _printed("Heifer Nutrition After AI Breeding", "a Midwestern state university extension")
DRYLOT_TRIAL = _printed("Drylot versus pasture before AI, 813 heifers", "journal abstract")
KENTUCKY_PAY_2011 = _printed("Does AI cost or pay?", "University of Kentucky, reprint", "2011")
KANSAS_TALLY = _printed("Tally time: get more value from pregnancy diagnosis", "Kansas State University column")
KANSAS_SIRES = _printed(
    "How many natural service sires are needed after synchronization?", "Kansas State University, reprint"
)
OKLAHOMA_RATIOS_2022 = _printed("Bull to Female Ratios", "Oklahoma State University Extension", "2022")
NEBRASKA_YEARLING_2013 = _printed("Yearling bulls need special attention", "University of Nebraska, farm press", "2013")
NEBRASKA_RATIO_2016 = _printed(
    "Bull to female ratio after AI, 2016 Nebraska Beef Cattle Report", "University of Nebraska", "2016"
)
VIRGINIA_RATIO_THESIS = _printed("Bull:cow ratio after FTAI (14,868 females)", "Virginia Tech thesis")
ARKANSAS_BULLS = _printed("Breeding soundness exams", "University of Arkansas, farm press")
MERCK_PREGNANCY = _printed("Pregnancy Determination in Cattle", "Merck Veterinary Manual")
TEXAS_EARLY_2021 = _printed(
    "Avoid transportation, heat issues during early pregnancy", "Texas A&M Extension column", "2021"
)
NDSU_DROUGHT = _printed("Using pregnancy testing for drought management", "North Dakota State University, farm press")
FLORIDA_PREGNANCY_2015 = _printed(
    "Pregnancy Diagnosis Options for Beef Cattle Producers", "University of Florida IFAS", "2015"
)
NDSU_TOOLS_2020 = _printed(
    "3 tools for early pregnancy checks", "North Dakota State University Extension, farm press", "2020"
)
SDSU_DIAGNOSIS = _printed("Pregnancy diagnosis in your cow calf herd", "South Dakota State University, farm press")
KENTUCKY_RESYNC_2012 = _printed(
    "Resynchronization: an option for the small cow-calf rancher", "University of Kentucky, reprint", "2012"
)
LSU_HEAT = _printed("Standing estrus (heat) and heat detection aids", "Louisiana State University AgCenter")
HEIFER_SHEET_2020 = _printed(
    "2020 Beef Heifer Synchronization Protocol", "South Dakota State University Extension", "2020"
)
COWS_IN_SYNCH = _printed("Getting Cows in Synch", "South Dakota State University Extension, reprint", "about 2016-17")

KANSAS_SESSION = _printed(
    "tips for a successful synchronization and AI program", "Kansas State University extension newsletter"
)

# Money.
OHIO_PRICES_2020 = _printed("Natural Service vs Artificial Insemination", "Ohio State University Extension", "2020")
SDSU_BULLS_2020 = _printed(
    "How many bulls when synchronizing with natural service?", "South Dakota State University, reprint", "2020"
)
WYOMING_COSTS_2013 = _printed("Bulls vs AI: the Cost Side", "University of Wyoming Extension", "about 2013")
AI_COST_2012 = _printed("How does the cost of AI compare to natural service?", "extension, reprint", "2012")
KENTUCKY_BENEFITS_1998 = _printed(
    "Cost vs benefits of synchronization", "University of Kentucky, reprint", "trial of 1998"
)
IDAHO_VALUE_2020 = _printed("Value of AI", "University of Idaho author, breed magazine", "2020")
CANADA_COSTS = _printed(
    "Costs of siring calves: artificial insemination compared to natural service",
    "Beef Cattle Research Council, Canada",
)
TEXAS_BULL_COST = _printed("Bull cost per hundredweight", "farm press, Texas A&M author")
KENTUCKY_BULL = _printed("But my bull doesn't cost me much", "University of Kentucky, reprint")
KANSAS_MEASURING = _printed("Tally Time: measuring reproductive responses", "Kansas State University column")
USING_MGA_2015 = _printed("Utilizing natural service synchronization", "extension summary in trade press", "about 2015")

# Heat.
CLEMSON_HEAT = _printed("Heat Stress and Beef Production", "Clemson University", "copy of 2009")
NEBRASKA_LIMIT_2024 = _printed(
    "Clues to an impending heat stress crisis", "University of Nebraska, association magazine", "2024"
)
NEBRASKA_TEMPERATURE_2017 = _printed(
    "Temperature and pregnancy in beef cows", "University of Nebraska research, press", "2017"
)
NEBRASKA_BREEDING_HEAT = _printed("Avoid heat stress during breeding", "University of Nebraska, reprint")
NEBRASKA_HANDLING = _printed("Handling cattle through high heat humidity indexes", "Nebraska Beef Quality Assurance")
NEBRASKA_NIGHT_2023 = _printed("Heat preparation", "association magazine, University of Nebraska-Lincoln", "2023")
AUSTRALIA_THI = _printed("14.2 Temperature Humidity Index", "veterinary handbook, Australian live export")
EMPLOYERS_HEAT = _printed("Using the Heat Index: a guide for employers", "US OSHA")
MODERATE_HEAT = _printed("Protective measures, moderate risk", "US OSHA")
