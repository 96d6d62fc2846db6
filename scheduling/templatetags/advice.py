"""How money is written, and a rule's why opened where it stands."""

from decimal import Decimal
from typing import Any

from django import template
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html

from scheduling.services.prices import trimmed
from scheduling.services.reasons import reason_of, title_inside

register = template.Library()


@register.filter
def money(amount: Decimal, currency: str) -> str:
    """An amount to the cent with the co-op's sign: $1,234.50, or −$5.00."""
    return f"{'−' if amount < 0 else ''}{currency}{abs(amount):,.2f}"


@register.filter
def price(amount: Decimal) -> str:
    """A price with two decimals, or as many as it has."""
    return trimmed(amount)


@register.filter
def rounded(amount: Decimal, currency: str) -> str:
    """An amount without cents, for charts and headlines."""
    return f"{'−' if amount < 0 else ''}{currency}{abs(amount):,.0f}"


@register.inclusion_tag("scheduling/why_inline.html", takes_context=True)
def why(context: dict[str, Any], code: str) -> dict[str, Any]:
    """A rule's why: a link to its page where the site has one, else the text itself, one tap away."""
    found = reason_of(code)
    return {
        "why": found,
        "title": title_inside(found) if found else "",
        "address": _address(context, code) if found else "",
    }


@register.filter
def why_title(code: str) -> str:
    """A rule's name for people, from its code."""
    found = reason_of(code)
    return found.title if found else ""


@register.simple_tag(takes_context=True)
def why_link(context: dict[str, Any], code: str) -> str:
    """A link to a rule's why: its page where the site has one, else its place further down on this page."""
    return format_html('<a class="why" href="{}">Why this matters</a>', _address(context, code) or f"#why-{code}")


def _address(context: dict[str, Any], code: str) -> str:
    member = context.get("member")
    if member is None:
        return ""
    try:
        return reverse("scheduling:why", kwargs={"coop": member.cooperative.slug, "code": code})
    except NoReverseMatch:
        return ""
