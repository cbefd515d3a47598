"""What the list of the erased knows an account and a place by.

Rows of before get an id that follows from their number, so that a backup from before this has the
same after it is restored and brought up to date; rows made later get a random one.
"""

import uuid

from django.db import migrations, models

NAMESPACE = uuid.UUID("5b0f6a4e-8a57-4ab5-9d1c-3a2f0d5e7c11")


def fill(apps, schema_editor):
    for name in ("Person", "Enrolment"):
        model = apps.get_model("accounts", name)
        for number in model.objects.filter(erasure_id=None).values_list("pk", flat=True):
            own = uuid.uuid5(NAMESPACE, f"{name}:{number}")
            model.objects.filter(pk=number).update(erasure_id=own)


def field(help_text, **more):
    return models.UUIDField(default=uuid.uuid4, editable=False, help_text=help_text, **more)


PERSON = "What the list of the erased knows the account by."
PLACE = "What the list of the erased knows the place by."


class Migration(migrations.Migration):
    dependencies = [("accounts", "0016_families")]

    operations = [
        migrations.AddField(
            "person",
            "erasure_id",
            models.UUIDField(null=True, editable=False, help_text=PERSON),
        ),
        migrations.AddField(
            "enrolment",
            "erasure_id",
            models.UUIDField(null=True, editable=False, help_text=PLACE),
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
        migrations.AlterField("person", "erasure_id", field(PERSON, unique=True)),
        migrations.AlterField("enrolment", "erasure_id", field(PLACE, unique=True)),
        migrations.AlterField(
            model_name="auditentry",
            name="act",
            field=models.CharField(
                choices=[
                    ("invited", "invited somebody"),
                    ("invitation_taken_back", "took an invitation back"),
                    ("came", "accepted an invitation"),
                    ("lessons_ended", "ended lessons"),
                    ("teacher_ended", "ended a colleague’s place"),
                    ("guardian_linked", "linked a guardian"),
                    ("guardian_unlinked", "ended a guardian’s link"),
                    ("guardian_confirmed", "confirmed a guardian who teaches here"),
                    ("consent_given", "gave consent"),
                    ("consent_withdrawn", "withdrew consent"),
                    ("password_link", "made a link for a new password"),
                    ("child_log_in", "changed a child’s log-in"),
                    ("settings", "changed settings"),
                    ("tolerance", "changed a clip’s tolerance"),
                    ("returned", "returned a clip"),
                    ("return_taken_back", "took a return back"),
                    ("erased", "erased a clip"),
                    ("lessons_erased", "erased all that was kept about a pupil"),
                    ("account_erased", "erased an account"),
                    ("tried_again", "let work on a clip be tried again"),
                    ("owner_changed", "made somebody the owner"),
                    ("operator_changed", "gave or took the right to look after the service"),
                ],
                max_length=24,
            ),
        ),
        migrations.AlterField(
            model_name="letter",
            name="kind",
            field=models.CharField(
                choices=[
                    ("invitation", "invitation"),
                    ("new_password", "new password"),
                    ("answer", "answer"),
                    ("account", "about an account"),
                    ("operator", "to the operator"),
                    ("erased", "that something is erased"),
                ],
                max_length=16,
            ),
        ),
    ]
