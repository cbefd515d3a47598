from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("drills", "0009_own_lists_of_keys")]

    operations = [
        migrations.RemoveField(
            model_name="rotationlesson",
            name="major",
        ),
        migrations.RemoveField(
            model_name="rotationlesson",
            name="major_on",
        ),
        migrations.RemoveField(
            model_name="rotationlesson",
            name="minor",
        ),
        migrations.RemoveField(
            model_name="rotationlesson",
            name="minor_on",
        ),
    ]
