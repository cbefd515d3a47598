from django.apps import AppConfig


class ReviewConfig(AppConfig):
    name = "studio.review"
    label = "review"
    default_auto_field = "django.db.models.BigAutoField"
