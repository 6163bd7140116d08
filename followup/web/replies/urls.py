from django.urls import path

from followup.interchange.messages.links import PATH
from followup.web.replies import views

urlpatterns = [path(f"{PATH}<str:token>/", views.cannot_come, name="cannot_come")]
