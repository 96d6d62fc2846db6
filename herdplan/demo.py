"""Load the demo co-ops of `demo_data`. A co-op that is already there is left as it is."""

import random
from datetime import date, timedelta

from django.db import transaction

from accounts.models import Cooperative, Membership, User
from herdplan.demo_data import COOPS, PASSWORD, SHARED_PRICES, DemoCoop, DemoGroup
from herdplan.herds.models import GESTATION_DAYS, BreedingGroup, ClosedDay, Female, Herd, Ranch, Record
from herdplan.technicians.models import Barn, DayOff, Technician
from scheduling.models import CoopPrices, MonthWeather, Season, SeasonEntry


def load() -> list[Cooperative]:
    """Load what is missing; returns the co-ops that were made now."""
    with transaction.atomic():
        return [_make(demo) for demo in COOPS if not Cooperative.objects.filter(slug=demo.slug).exists()]


def _make(demo: DemoCoop) -> Cooperative:
    coop = Cooperative.objects.create(name=demo.name, slug=demo.slug, zone=demo.zone)
    people = _people(coop, demo)
    ranches = _ranches(coop, demo)
    for person in demo.people:
        for slug in person.ranches:
            ranches[slug].people.add(people[person.email])
    _technicians(coop, demo, people)
    for name, stalls, hours in demo.barns:
        Barn.objects.create(cooperative=coop, name=name, stalls=stalls, clean_hours=hours)
    season = Season.objects.create(
        cooperative=coop, name=demo.season, first_day=demo.first_day, last_day=demo.last_day, zone=demo.zone
    )
    for group in demo.groups:
        _group(season, ranches[group.ranch], group)
    CoopPrices.objects.create(cooperative=coop, **SHARED_PRICES)
    MonthWeather.objects.bulk_create(MonthWeather(cooperative=coop, month=month, **row) for month, row in demo.normals)
    return coop


def _people(coop: Cooperative, demo: DemoCoop) -> dict[str, User]:
    people = {}
    for person in demo.people:
        user = User.objects.filter(email=person.email).first()
        user = user or User.objects.create_user(person.email, PASSWORD, name=person.name)
        for role in person.roles:
            Membership.objects.create(cooperative=coop, user=user, role=role)
        people[person.email] = user
    return people


def _ranches(coop: Cooperative, demo: DemoCoop) -> dict[str, Ranch]:
    ranches = {}
    for row in demo.ranches:
        ranch = Ranch.objects.create(
            cooperative=coop,
            slug=row.slug,
            name=row.name,
            lat=row.lat,
            lon=row.lon,
            zone=row.zone,
            opens=row.opens,
            closes=row.closes,
            treat_rate=row.treat_rate,
            ai_stalls=row.ai_stalls,
            directions=row.directions,
        )
        for day in row.closed:
            ClosedDay.objects.create(ranch=ranch, day=day, reason="Branding")
        ranches[row.slug] = ranch
    return ranches


def _technicians(coop: Cooperative, demo: DemoCoop, people: dict[str, User]) -> None:
    for row in demo.technicians:
        technician = Technician.objects.create(
            cooperative=coop,
            name=row.name,
            lat=row.lat,
            lon=row.lon,
            ai_rate=row.ai_rate,
            max_head_per_day=row.max_head,
            skills=list(row.skills),
            user=people.get(row.email),
        )
        for first, last in row.days_off:
            DayOff.objects.create(technician=technician, first_day=first, last_day=last, reason="Family")


def _group(season: Season, ranch: Ranch, row: DemoGroup) -> None:
    herd, _ = Herd.objects.get_or_create(ranch=ranch, name="Home herd", defaults={"mature_kg": 560})
    group = BreedingGroup.objects.create(herd=herd, name=row.name, animal_class=row.animal_class, head=row.head)
    spread = timedelta(days=row.spread)
    SeasonEntry.objects.create(
        season=season,
        group=group,
        protocol=row.protocol,
        head=row.head,
        ai_from=row.wanted - spread,
        ai_to=row.wanted + spread,
        ai_wanted=row.wanted,
        order=row.order,
        ai_by=row.ai_by,
        steps_by=row.steps_by,
        skills=list(row.skills),
        needs_barn=row.barn,
        kept_from_bulls=row.animal_class == "heifer",
    )
    if row.females:
        females = Female.objects.bulk_create(_females(herd, group, season.first_day))
        by = ranch.people.first()
        Record.objects.bulk_create(_records(females, season.first_day, by))


def _females(herd: Herd, group: BreedingGroup, today: date) -> list[Female]:
    """Made-up females with tags in order; the same ones in every installation."""
    rng = random.Random(group.name)  # a demo, not a secret
    heifer = group.animal_class == "heifer"
    first = 701 if heifer else 101
    return [
        Female(
            herd=herd,
            group=group,
            tag=str(first + i),
            animal_class=group.animal_class,
            breed=rng.choice(("Red cross", "Black cross", "Hereford cross")),
            born=today - timedelta(days=rng.randint(395, 430) if heifer else rng.randint(1100, 3600)),
            last_calved=None if heifer else today - timedelta(days=365 + rng.randint(4, 70)),
        )
        for i in range(group.head)
    ]


def _along(female: Female, day: date) -> int:
    """Days pregnant of a cow that will calve a year after her last calving."""
    assert female.last_calved is not None
    return GESTATION_DAYS - (female.last_calved + timedelta(days=365) - day).days


def _records(females: list[Female], today: date, by: User | None) -> list[Record]:
    """Made-up records of the autumn before: heifers weighed twice, cows scored, checked and vaccinated, one held."""
    rng = random.Random(f"{females[0].tag} records")  # a demo, not a secret
    weaned, worked = today - timedelta(days=196), today - timedelta(days=161)
    out = []
    for i, female in enumerate(females):
        if female.animal_class == "heifer":
            kg = rng.gauss(215, 14)
            out.append(Record(female=female, kind="weight", day=weaned, weight_kg=round(kg, 1)))
            gained = kg + 35 * rng.uniform(0.4, 0.8)
            out.append(Record(female=female, kind="weight", day=worked, weight_kg=round(gained, 1)))
        else:
            score = rng.choice((4, 4.5, 5, 5, 5.5, 5.5, 6, 6.5))
            out.append(Record(female=female, kind="condition", day=worked, condition=score))
            state = "open" if i % 19 == 7 else "pregnant"
            along = _along(female, worked) if state == "pregnant" and i % 5 != 2 else None  # one in five was not told
            out.append(Record(female=female, kind="pregnancy", day=worked, pregnancy=state, days_pregnant=along))
            out.append(Record(female=female, kind="calving", day=female.last_calved or worked))
        out.append(Record(female=female, kind="vaccination", day=worked, vaccine="viral_killed"))
    out.append(Record(female=females[3], kind="hold", day=worked, reason="Lame, right hind"))
    for record in out:
        record.by = by
    return out
