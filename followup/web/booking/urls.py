from django.urls import path

from followup.web.booking import outcomes, sessions, views

urlpatterns = [
    path("sessions/", sessions.sessions, name="sessions"),
    path("sessions/new/", sessions.open_list, name="open_session"),
    path("sessions/<int:pk>/", sessions.session, name="session"),
    path("sessions/<int:pk>/cancel/", sessions.cancel_list, name="cancel_session"),
    path("eyes/<int:pk>/book/", views.book, name="book"),
    path("appointments/<int:pk>/move/", views.move, name="move"),
    path("appointments/<int:pk>/cancel/", views.cancel, name="cancel"),
    path("appointments/<int:pk>/arrived/", outcomes.arrived, name="arrived"),
    path("appointments/<int:pk>/attended/", outcomes.attended, name="attended"),
    path("appointments/<int:pk>/not-attended/", outcomes.not_attended, name="not_attended"),
    path("appointments/without-outcome/", outcomes.without_outcome, name="without_outcome"),
]
