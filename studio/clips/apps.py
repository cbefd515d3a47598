from django.apps import AppConfig


class ClipsConfig(AppConfig):
    name = "studio.clips"
    label = "clips"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from . import personal_data  # noqa: F401
