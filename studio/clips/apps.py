from django.apps import AppConfig


class ClipsConfig(AppConfig):
    name = "studio.clips"
    label = "clips"
    default_auto_field = "django.db.models.BigAutoField"
