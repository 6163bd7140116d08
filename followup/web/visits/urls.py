from django.urls import path

from followup.web.visits import views

urlpatterns = [
    path("patients/<int:pk>/visits/new/", views.record, name="record_visit"),
    path("visits/<int:pk>/correct/", views.correct, name="correct_visit"),
    path("visits/<int:pk>/in-error/", views.in_error, name="visit_in_error"),
]
