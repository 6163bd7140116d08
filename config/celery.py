"""The Celery application: Redis where a broker is set, else in memory inside the one process."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

app = Celery("followup")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["followup.jobs"])
