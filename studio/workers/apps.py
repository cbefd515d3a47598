from django.apps import AppConfig


class WorkersConfig(AppConfig):
    name = "studio.workers"
    label = "workers"
    default_auto_field = "django.db.models.BigAutoField"
