from django.urls import path

from followup.web.recall import views

urlpatterns = [
    path("recall/", views.recall, name="recall"),
    path("decisions/", views.questions, name="questions"),
    path("patients/<int:pk>/attempts/new/", views.attempt, name="attempt"),
]
