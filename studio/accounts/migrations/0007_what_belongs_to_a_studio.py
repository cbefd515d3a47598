"""Guardians' links and instruments get a studio; consent can rest. Rows follow in the next step."""

import django.db.models.deletion
from django.db import migrations, models


def of_a_studio(related_name: str) -> models.ForeignKey:
    return models.ForeignKey(
        null=True,
        on_delete=django.db.models.deletion.CASCADE,
        related_name=related_name,
        to="accounts.studio",
    )


class Migration(migrations.Migration):
    dependencies = [("accounts", "0006_account_recovery")]

    operations = [
        migrations.RemoveConstraint(model_name="guardianlink", name="one_open_guardian_link"),
        migrations.RemoveConstraint(model_name="consent", name="one_standing_consent"),
        migrations.AddField(
            model_name="guardianlink", name="studio", field=of_a_studio("guardian_links")
        ),
        migrations.AddField(
            model_name="guardianlink",
            name="confirmed_at",
            field=models.DateTimeField(
                blank=True,
                null=True,
                help_text="When the operator confirmed that a teacher of the studio decides as "
                "guardian.",
            ),
        ),
        migrations.AddField(
            model_name="instrument", name="studio", field=of_a_studio("instruments")
        ),
        migrations.AddField(
            model_name="consent",
            name="rests_since",
            field=models.DateTimeField(
                blank=True,
                null=True,
                help_text="When the last one who could withdraw it was gone.",
            ),
        ),
        migrations.AddConstraint(
            model_name="consent",
            constraint=models.UniqueConstraint(
                condition=models.Q(("rests_since__isnull", True), ("withdrawn_at__isnull", True)),
                fields=("pupil", "studio", "purpose", "version"),
                name="one_standing_consent",
            ),
        ),
    ]
