"""What the advice tells over HTTP, as JSON. Verdicts are ready, ready_if or not_this_time; money is in the co-op's currency."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

_VERDICT = serializers.ChoiceField(choices=["ready", "ready_if", "not_this_time"])
_Any = serializers.Serializer[Any]


@extend_schema_field(_VERDICT)
class VerdictField(serializers.CharField):
    """A verdict by its name in lower case."""

    def to_representation(self, value: Any) -> str:
        """Such as ready_if."""
        return str(value.name).lower()


class SourcesField(serializers.ListField):
    """Who printed a rule, or that nobody did."""

    child = serializers.CharField()

    def to_representation(self, value: Any) -> list[str]:
        """In words."""
        return [item.words for item in value]


class ReasonSerializer(_Any):
    """Why: a rule's code, what is so, what to do by when, the day of the record that decided, who printed the rule."""

    code = serializers.CharField()
    verdict = VerdictField()
    sentence = serializers.CharField()
    do = serializers.CharField(allow_null=True)
    by = serializers.DateField(allow_null=True)
    seen = serializers.DateField(allow_null=True)
    missing = serializers.BooleanField()
    sources = SourcesField()


class ReadySerializer(_Any):
    """A group: how many of the females on record are ready for its AI day. `head` is what was entered, `known` on record."""

    entry = serializers.UUIDField(source="entry.pk")
    group = serializers.UUIDField(source="entry.group_id")
    group_name = serializers.CharField(source="entry.group.name")
    ranch = serializers.UUIDField(source="entry.group.herd.ranch_id")
    ranch_name = serializers.CharField(source="entry.group.herd.ranch.name")
    head = serializers.IntegerField(source="entry.head")
    known = serializers.IntegerField(source="head")
    ai_day = serializers.DateField(source="dated.plan.ai", default=None)
    ai_day_from = serializers.CharField(source="dated.origin", default=None)
    ready = serializers.IntegerField(source="counts.ready")
    ready_if = serializers.IntegerField(source="counts.ready_if")
    not_this_time = serializers.IntegerField(source="counts.not_this_time")
    signed_off = serializers.CharField(source="signed.verdict", default=None)


class FindingSerializer(_Any):
    """A rule about the whole group."""

    code = serializers.CharField()
    kept = serializers.BooleanField()
    sentence = serializers.CharField()
    value = serializers.FloatField()
    head = serializers.IntegerField()


class WorkSerializer(_Any):
    """One thing to do for some of the females, by a day."""

    code = serializers.CharField()
    verdict = VerdictField()
    by = serializers.DateField(allow_null=True)
    sentence = serializers.CharField()
    tags = serializers.ListField(child=serializers.CharField())


class LateSerializer(_Any):
    """Late calvers as a group of their own."""

    tags = serializers.ListField(child=serializers.CharField())
    start = serializers.DateField(source="plan.start")
    ai_day = serializers.DateField(source="plan.ai")
    days_later = serializers.IntegerField()
    ready = serializers.IntegerField()
    left_out = serializers.ListField(child=serializers.CharField())


class AnimalSerializer(_Any):
    """A female's verdict, an adviser's word counted in, and what weighs most by the rules."""

    female = serializers.UUIDField(source="female.pk")
    tag = serializers.CharField(source="female.tag")
    verdict = VerdictField()
    by_rules = VerdictField(source="judged.verdict")
    said_by_adviser = serializers.CharField(source="word.verdict", default=None)
    reasons = ReasonSerializer(many=True, source="weighs_most")


class GroupReadySerializer(ReadySerializer):
    """A group with its females."""

    findings = FindingSerializer(many=True, source="group.findings", default=())
    work = WorkSerializer(many=True)
    second_group = LateSerializer(source="late", allow_null=True)
    females = AnimalSerializer(many=True, source="animals")


class CheckSerializer(_Any):
    """One rule on one female with the record that decided it."""

    code = serializers.CharField()
    title = serializers.CharField()
    verdict = serializers.ChoiceField(choices=["ready", "ready_if", "not_this_time"], source="key")
    sentence = serializers.CharField()
    do = serializers.CharField()
    by = serializers.DateField(allow_null=True)
    missing = serializers.BooleanField()
    record = serializers.CharField()
    day = serializers.DateField(allow_null=True)


class FemaleReadySerializer(_Any):
    """A female with every check."""

    female = serializers.UUIDField(source="animal.female.pk")
    tag = serializers.CharField(source="animal.female.tag")
    ai_day = serializers.DateField(source="dated.plan.ai")
    verdict = VerdictField(source="animal.verdict")
    by_rules = VerdictField(source="animal.judged.verdict")
    said_by_adviser = serializers.CharField(source="animal.word.verdict", default=None)
    days_since_calving_at_ai = serializers.IntegerField(source="animal.judged.days_at_ai", allow_null=True)
    share_of_mature = serializers.FloatField(source="animal.judged.share_of_mature", allow_null=True)
    checks = CheckSerializer(many=True)


class SpreadSerializer(_Any):
    """Cost of one AI pregnancy: in the middle, at the highest and at the lowest pregnancy rate."""

    middle = serializers.DecimalField(max_digits=12, decimal_places=2)
    cheapest = serializers.DecimalField(max_digits=12, decimal_places=2)
    dearest = serializers.DecimalField(max_digits=12, decimal_places=2)


class OptionSerializer(_Any):
    """A programme for this group. Shares are 0 to 1, hours those of the whole group."""

    protocol = serializers.CharField(source="protocol.id")
    name = serializers.CharField(source="protocol.name")
    status = serializers.CharField(source="protocol.status")
    trips = serializers.IntegerField()
    heat_days = serializers.IntegerField()
    labour_hours = serializers.FloatField()
    calendar_days = serializers.IntegerField()
    ai_days = serializers.IntegerField()
    rate = serializers.FloatField(allow_null=True)
    rate_low = serializers.FloatField(source="expected.low", default=None)
    rate_high = serializers.FloatField(source="expected.high", default=None)
    rate_words = serializers.CharField()
    cost_a_head = serializers.DecimalField(max_digits=12, decimal_places=2)
    cost_a_pregnancy = SpreadSerializer(allow_null=True)
    largest_lot = serializers.IntegerField(allow_null=True)
    lots = serializers.IntegerField()
    session_hours = serializers.FloatField()
    bookable_days = serializers.ListField(child=serializers.DateField(), allow_null=True)
    objections = serializers.ListField(child=serializers.CharField())


class RankedSerializer(_Any):
    """A programme with its place and why it stands there."""

    place = serializers.IntegerField()
    points = serializers.IntegerField()
    reasons = serializers.ListField(child=serializers.CharField())
    option = OptionSerializer()


class ProgrammesSerializer(_Any):
    """Programmes compared for a group."""

    currency = serializers.CharField()
    head = serializers.IntegerField()
    ranked = RankedSerializer(many=True)
    left_out = OptionSerializer(many=True)


class BudgetLineSerializer(_Any):
    """A line of a partial budget; `good` where it speaks for AI."""

    side = serializers.CharField()
    words = serializers.CharField()
    amount = serializers.DecimalField(max_digits=14, decimal_places=2)
    good = serializers.BooleanField()


class SwingSerializer(_Any):
    """An assumption moved alone; `turns` is where AI and bulls come out even, empty where they do not."""

    name = serializers.CharField()
    low = serializers.CharField(source="low_words")
    high = serializers.CharField(source="high_words")
    net_low = serializers.DecimalField(max_digits=14, decimal_places=2)
    net_high = serializers.DecimalField(max_digits=14, decimal_places=2)
    turns = serializers.CharField()


class RivalSerializer(_Any):
    """Another programme in its place; `rate` in per cent, `net` what it earns more."""

    protocol = serializers.CharField(source="id")
    name = serializers.CharField()
    cost_a_head = serializers.DecimalField(max_digits=12, decimal_places=2)
    rate = serializers.FloatField()
    net = serializers.DecimalField(max_digits=14, decimal_places=2)


class BudgetSerializer(_Any):
    """AI against bulls alone. `rate` in per cent."""

    currency = serializers.CharField(source="prices.currency")
    programme = serializers.CharField()
    head = serializers.IntegerField()
    rate = serializers.FloatField()
    rate_words = serializers.CharField()
    cost_a_head = serializers.DecimalField(max_digits=12, decimal_places=2)
    lines = BudgetLineSerializer(many=True)
    net = serializers.DecimalField(max_digits=14, decimal_places=2)
    bull_a_year = serializers.DecimalField(max_digits=12, decimal_places=2)
    bulls_without_ai = serializers.IntegerField(source="bulls_before")
    bulls_with_ai = serializers.IntegerField(source="bulls_after")
    open_head = serializers.IntegerField()
    worth_of_ai_pregnancy = serializers.DecimalField(max_digits=12, decimal_places=2, source="calf_worth")
    sensitivity = SwingSerializer(many=True, source="bars")
    others = RivalSerializer(many=True, source="rivals")


class StatementItemSerializer(_Any):
    """A line of a statement; `whole` is the shared cost, null where it is the ranch's own."""

    day = serializers.DateField(allow_null=True)
    words = serializers.CharField()
    rule = serializers.CharField()
    whole = serializers.DecimalField(max_digits=12, decimal_places=2, allow_null=True)
    part = serializers.DecimalField(max_digits=12, decimal_places=2)


class StatementSerializer(_Any):
    """What one ranch pays."""

    currency = serializers.CharField()
    ranch = serializers.UUIDField(source="statement.id")
    ranch_name = serializers.CharField(source="statement.name")
    head_inseminated = serializers.IntegerField(source="statement.head")
    total = serializers.DecimalField(max_digits=12, decimal_places=2, source="statement.total")
    items = StatementItemSerializer(many=True, source="statement.items")
