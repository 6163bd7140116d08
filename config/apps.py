from django.apps import AppConfig


class SettingsConfig(AppConfig):
    name = "config"
    verbose_name = "Settings"

    def ready(self) -> None:
        from config import checks  # noqa: F401  registers the checks, once every app is loaded
