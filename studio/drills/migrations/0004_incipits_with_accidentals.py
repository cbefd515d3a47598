"""Stored beginnings of drills are drawn anew: they had no accidentals."""

from django.db import migrations


def draw_anew(apps, schema_editor) -> None:
    from studio.drills.sheets import incipit
    from studio.notation import Score

    versions = apps.get_model("drills", "DrillVersion").objects.exclude(score=None)
    for version in versions.only("score", "incipit").iterator(chunk_size=200):
        drawn = incipit(Score.from_dict(version.score))
        if drawn != version.incipit:
            version.incipit = drawn
            version.save(update_fields=["incipit"])


class Migration(migrations.Migration):
    dependencies = [("drills", "0003_key_rotation")]
    operations = [migrations.RunPython(draw_anew, migrations.RunPython.noop, elidable=True)]
