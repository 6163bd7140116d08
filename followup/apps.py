from django.apps import AppConfig


class FollowUpConfig(AppConfig):
    name = "followup"
    verbose_name = "Follow-up of operated eyes"
    default_auto_field = "django.db.models.BigAutoField"
