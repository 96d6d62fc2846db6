"""Which herd a command means."""

from typing import Any

from accounts.management.strict import refuse
from herdplan.herds.models import Herd, Ranch


def herd_of(options: dict[str, Any]) -> Herd:
    """The herd that `--coop`, `--ranch` and `--herd` name; exit 2 where there is none."""
    ranch = Ranch.objects.filter(cooperative__slug=options["coop"], slug=options["ranch"]).first()
    if ranch is None:
        refuse(f"ranch: the short name of a ranch of co-op {options['coop']}; there is no {options['ranch']}")
    herds = ranch.herds.filter(name__iexact=options["herd"]) if options["herd"] else ranch.herds.order_by("name")
    herd = herds.first()
    if herd is None:
        names = ", ".join(ranch.herds.values_list("name", flat=True)) or "none yet"
        refuse(f"herd: the name of a herd of {ranch}: {names}")
    return herd
