from django.apps import AppConfig


class AccountsConfig(AppConfig):
    name = "studio.accounts"
    label = "accounts"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from . import signals  # noqa: F401  # it listens to log-ins
        from .personal_data import of_accounts  # noqa: F401
