from django.urls import path

from followup.web.decisions import views

urlpatterns = [
    path("eyes/<int:pk>/decide/", views.decide, name="decide"),
    path("decisions/<int:pk>/undo/", views.undo, name="undo_decision"),
    path("decisions/<int:pk>/accept/", views.accept, name="accept_transfer"),
    path("patients/<int:pk>/death/", views.death, name="record_death"),
    path("patients/<int:pk>/death/confirm/", views.confirm, name="confirm_death"),
    path("patients/<int:pk>/death/undo/", views.not_dead, name="undo_death"),
]
