"""`manage.py protocols [--json]`: the catalogue."""

import json
from argparse import ArgumentParser
from dataclasses import asdict
from typing import Any

from accounts.management.strict import StrictCommand
from scheduling.kernel.catalogue import load_catalogue
from scheduling.kernel.protocol import Protocol, Step


class Command(StrictCommand):
    """Lists every protocol with its steps and sources."""

    help = "List the protocols of the catalogue."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """One switch."""
        parser.add_argument("--json", action="store_true", help="print one JSON document")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the list."""
        catalogue = load_catalogue()
        if options["json"]:
            self.stdout.write(json.dumps([document(item) for item in catalogue.protocols.values()], indent=1))
            return
        self.stdout.write(f"Edition {catalogue.edition}, {len(catalogue.protocols)} protocols")
        for item in catalogue.protocols.values():
            days = ", ".join(f"day {step.day} {step.label}" for step in item.steps)
            self.stdout.write(f"{item.id}: {item.name} ({item.animal_class}). {days}")


def document(protocol: Protocol) -> dict[str, Any]:
    """One protocol as JSON."""
    return {
        "id": protocol.id,
        "name": protocol.name,
        "animal_class": protocol.animal_class,
        "category": protocol.category.value,
        "family": protocol.family,
        "status": protocol.status,
        "confidence": protocol.confidence,
        "edition": protocol.edition,
        "steps": [_step(step) for step in protocol.steps],
        "heat_watches": [asdict(watch) for watch in protocol.heat_watches],
        "contraindications": list(protocol.contraindications),
        "notes": list(protocol.notes),
        "variants": [asdict(variant) for variant in protocol.variants],
        "sources": [asdict(source) for source in protocol.sources],
    }


def _step(step: Step) -> dict[str, Any]:
    return {
        "key": step.key,
        "label": step.label,
        "action": step.action.value,
        "substance": step.substance.value if step.substance else None,
        "dose": step.dose,
        "day": step.day,
        "printed_day": step.printed_day,
        "nominal_day": step.nominal_day,
        "after": asdict(step.after) if step.after else None,
        "applies_to": step.applies_to,
        "chute_trip": step.trip is not None,
        "trip": step.trip,
        "evidence": list(step.evidence),
        "from_memory": step.from_memory,
    }
