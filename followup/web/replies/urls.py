from django.urls import path

from followup.interchange.messages.links import PATH, STOP_PATH
from followup.web.replies import answers, views

urlpatterns = [
    path("answers/", answers.answers, name="answers"),
    path(f"{PATH}<str:token>/", views.cannot_come, name="cannot_come"),
    path(f"{STOP_PATH}<str:token>/", views.stop_messages, name="stop_messages"),
]
