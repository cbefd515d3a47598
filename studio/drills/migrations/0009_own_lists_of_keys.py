"""Keys of lessons, and what is to be in order, become a teacher's own lists."""

import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

# The lines that there were, by the codes that were ticked.
READINESS = {
    "tips": "Each finger can be set on its tip without disturbing its neighbours.",
    "above": "The fingers come down from above the strings.",
    "grip": "The grip stays free.",
    "flat": "One finger can lie across two strings so that both sound clear.",
    "check": "The third finger is in tune against the open string below.",
}


def to_lists(apps, schema_editor) -> None:
    rotations = apps.get_model("drills", "Rotation").objects
    for rotation in rotations.only("readiness").iterator(chunk_size=200):
        rotation.readiness = [
            {"words": words, "ticked_on": rotation.readiness.get(code)}
            for code, words in READINESS.items()
        ]
        rotation.save(update_fields=["readiness"])
    for lesson in apps.get_model("drills", "RotationLesson").objects.iterator(chunk_size=200):
        lesson.keys = [
            {"key": key, "done_on": on.isoformat() if on else None}
            for key, on in ((lesson.major, lesson.major_on), (lesson.minor, lesson.minor_on))
        ]
        lesson.save(update_fields=["keys"])


class Migration(migrations.Migration):
    dependencies = [
        ("accounts", "0022_retention_terms"),
        ("drills", "0008_single_notes"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="rotation",
            name="done_when",
            field=models.JSONField(
                blank=True,
                default=list,
                help_text="What is in order when a key counts as done, in words.",
            ),
        ),
        migrations.AddField(
            model_name="rotationlesson",
            name="keys",
            field=models.JSONField(
                default=list,
                help_text="In the order played: key, and done_on, a day or null, of each.",
            ),
        ),
        migrations.AlterField(
            model_name="rotation",
            name="readiness",
            field=models.JSONField(
                blank=True,
                default=list,
                help_text="The teacher's list: words, and ticked_on, a day or null, of each.",
            ),
        ),
        migrations.CreateModel(
            name="RotationStart",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "lessons",
                    models.JSONField(default=list, help_text="The keys of each lesson of a round."),
                ),
                (
                    "rounds",
                    models.JSONField(
                        default=list, help_text="intervals, strings and octaves of each."
                    ),
                ),
                (
                    "readiness",
                    models.JSONField(
                        default=list, help_text="What the pupil is ready for, in words."
                    ),
                ),
                (
                    "done_when",
                    models.JSONField(
                        default=list,
                        help_text="What is in order when a key counts as done, in words.",
                    ),
                ),
                ("kept_at", models.DateTimeField(default=django.utils.timezone.now)),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="rotation_starts",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "studio",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="rotation_starts",
                        to="accounts.studio",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("person", "studio"), name="one_rotation_start_a_studio"
                    )
                ],
            },
        ),
        migrations.RunPython(to_lists, migrations.RunPython.noop),
    ]
