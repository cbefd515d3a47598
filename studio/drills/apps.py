from django.apps import AppConfig


class DrillsConfig(AppConfig):
    name = "studio.drills"
    label = "drills"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from . import personal_data  # noqa: F401
