from django.apps import AppConfig


class OperationsConfig(AppConfig):
    name = "studio.operations"
    label = "operations"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from . import personal_data  # noqa: F401
