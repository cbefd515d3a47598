"""What the list of the erased knows an assignment by.

Rows of before get an id that follows from their number, so that a backup from before this has the
same after it is restored and brought up to date; rows made later get a random one.
"""

import uuid

from django.db import migrations, models

NAMESPACE = uuid.UUID("5b0f6a4e-8a57-4ab5-9d1c-3a2f0d5e7c11")
AT_ONCE = 500  # rows
WHAT = "What the list of the erased knows it by."


def fill(apps, schema_editor):
    rows = apps.get_model("drills", "Assignment").objects.filter(erasure_id=None)
    found = list(rows.only("pk"))
    for row in found:
        row.erasure_id = uuid.uuid5(NAMESPACE, f"Assignment:{row.pk}")
    rows.model.objects.bulk_update(found, ["erasure_id"], batch_size=AT_ONCE)


class Migration(migrations.Migration):
    dependencies = [("drills", "0010_keys_no_longer_in_pairs")]

    operations = [
        migrations.AddField(
            "assignment",
            "erasure_id",
            models.UUIDField(null=True, editable=False, help_text=WHAT),
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
        migrations.AlterField(
            "assignment",
            "erasure_id",
            models.UUIDField(default=uuid.uuid4, editable=False, unique=True, help_text=WHAT),
        ),
    ]
