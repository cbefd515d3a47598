import django.db.models.deletion
from django.db import migrations, models


def of_a_studio(related_name: str) -> models.ForeignKey:
    return models.ForeignKey(
        on_delete=django.db.models.deletion.CASCADE,
        related_name=related_name,
        to="accounts.studio",
    )


class Migration(migrations.Migration):
    dependencies = [("accounts", "0008_rows_to_their_studios")]

    operations = [
        migrations.AlterField(
            model_name="guardianlink", name="studio", field=of_a_studio("guardian_links")
        ),
        migrations.AlterField(
            model_name="instrument", name="studio", field=of_a_studio("instruments")
        ),
        migrations.AddConstraint(
            model_name="guardianlink",
            constraint=models.UniqueConstraint(
                condition=models.Q(("ended_on__isnull", True)),
                fields=("guardian", "pupil", "studio"),
                name="one_open_link_a_studio",
            ),
        ),
    ]
