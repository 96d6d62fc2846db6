"""Who may do what: an enum of permissions and one table from role to reach, as data."""

from enum import Enum, IntEnum, StrEnum


class Role(StrEnum):
    """What a person is in a co-op."""

    COORDINATOR = "coordinator"
    RANCHER = "rancher"
    TECHNICIAN = "technician"
    ADVISER = "adviser"

    @property
    def label(self) -> str:
        """The word on the page."""
        return {"technician": "AI technician", "adviser": "Adviser or veterinarian"}.get(
            self.value, self.value.capitalize()
        )


class Reach(IntEnum):
    """How far a permission goes: not at all, to what is one's own, to the whole co-op."""

    NONE = 0
    OWN = 1
    COOP = 2


class Permission(Enum):
    """Everything that can be allowed."""

    MEMBERS_VIEW = "see who is in the co-op"
    MEMBERS_MANAGE = "invite people and change roles"
    RANCH_VIEW = "see ranches, herds and groups"
    RANCH_EDIT = "change a ranch, its herds and groups"
    RANCH_ADD = "add or remove a ranch"
    FEMALE_VIEW = "see individual females"
    FEMALE_EDIT = "change, import and export females"
    TECHNICIAN_VIEW = "see technicians and barns"
    TECHNICIAN_EDIT = "change a technician's base, hours, days off, rates"
    TECHNICIAN_ADD = "add or remove technicians and barns"
    SEASON_VIEW = "see the season's plan"
    SEASON_EDIT = "make a season, enter groups, plan, move, publish"
    ENTRY_EDIT = "enter a group in a season and change its wishes"
    STEP_DONE = "tick a step as done"
    CLASH_ANSWER = "answer for a ranch when wishes collide"
    PROTOCOL_ADJUST = "adjust the hours of a protocol, with a reason"
    READINESS_SIGN = "sign off or override readiness"
    READINESS_LIMITS = "set the co-op's limits of readiness, with a reason"
    COMMENT = "write a comment"
    FEED_MAKE = "make a calendar feed"
    PRICES_VIEW = "see what things cost"
    PRICES_EDIT = "set the co-op's prices and how costs are shared"
    STATEMENT_VIEW = "see what a ranch pays"
    WEATHER_EDIT = "bring in weather"


_P, _R = Permission, Reach
ROLE_REACH: dict[Role, dict[Permission, Reach]] = {
    Role.COORDINATOR: dict.fromkeys(Permission, _R.COOP),
    Role.RANCHER: {
        _P.RANCH_VIEW: _R.OWN,
        _P.RANCH_EDIT: _R.OWN,
        _P.FEMALE_VIEW: _R.OWN,
        _P.FEMALE_EDIT: _R.OWN,
        _P.SEASON_VIEW: _R.OWN,
        _P.ENTRY_EDIT: _R.OWN,
        _P.STEP_DONE: _R.OWN,
        _P.CLASH_ANSWER: _R.OWN,
        _P.COMMENT: _R.OWN,
        _P.FEED_MAKE: _R.OWN,
        _P.PRICES_VIEW: _R.OWN,
        _P.STATEMENT_VIEW: _R.OWN,
        _P.WEATHER_EDIT: _R.OWN,
    },
    Role.TECHNICIAN: {
        _P.RANCH_VIEW: _R.COOP,
        _P.TECHNICIAN_VIEW: _R.COOP,
        _P.TECHNICIAN_EDIT: _R.OWN,
        _P.SEASON_VIEW: _R.COOP,
        _P.STEP_DONE: _R.OWN,
        _P.COMMENT: _R.COOP,
        _P.FEED_MAKE: _R.OWN,
    },
    Role.ADVISER: {
        _P.MEMBERS_VIEW: _R.COOP,
        _P.RANCH_VIEW: _R.COOP,
        _P.FEMALE_VIEW: _R.COOP,
        _P.TECHNICIAN_VIEW: _R.COOP,
        _P.SEASON_VIEW: _R.COOP,
        _P.PROTOCOL_ADJUST: _R.COOP,
        _P.READINESS_SIGN: _R.COOP,
        _P.READINESS_LIMITS: _R.COOP,
        _P.COMMENT: _R.COOP,
        _P.FEED_MAKE: _R.COOP,
        _P.PRICES_VIEW: _R.COOP,
    },
}


def reach_of(roles: frozenset[Role], permission: Permission) -> Reach:
    """The widest reach that any of the roles gives for the permission."""
    return max((ROLE_REACH[role].get(permission, Reach.NONE) for role in roles), default=Reach.NONE)
