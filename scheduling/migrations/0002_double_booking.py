"""Put the rule that no technician is in two places into the database."""

from typing import Any

from django.db import migrations

from scheduling import double_booking


def install(apps: Any, schema_editor: Any) -> None:
    """Install the exclusion constraint or the triggers."""
    double_booking.install(schema_editor.connection)


class Migration(migrations.Migration):
    """Runs once; the app puts the rule back after every migrate."""

    dependencies = [("scheduling", "0001_initial")]
    operations = [migrations.RunPython(install, migrations.RunPython.noop)]
