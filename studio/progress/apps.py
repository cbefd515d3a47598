from django.apps import AppConfig


class ProgressConfig(AppConfig):
    name = "studio.progress"
    label = "progress"
    default_auto_field = "django.db.models.BigAutoField"
