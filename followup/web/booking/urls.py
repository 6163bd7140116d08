from django.urls import path

from followup.web.booking import calendars, load, outcomes, proposal, rota, sessions, unavailable, views

urlpatterns = [
    path("sessions/", sessions.sessions, name="sessions"),
    path("sessions/new/", sessions.open_list, name="open_session"),
    path("sessions/<int:pk>/", sessions.session, name="session"),
    path("sessions/<int:pk>/cancel/", sessions.cancel_list, name="cancel_session"),
    path("sessions/calendars/", calendars.calendars, name="session_calendars"),
    path("sessions/calendars/<int:pk>/", calendars.calendar, name="session_calendar"),
    path("sessions/rota/", rota.rota, name="rota"),
    path("sessions/rota/open/", rota.open_now, name="open_rota"),
    path("sessions/rota/new/", rota.add, name="add_pattern"),
    path("sessions/rota/<int:pk>/end/", rota.end, name="end_pattern"),
    path("sessions/rota/<int:pk>/day/", rota.one_day, name="except_day"),
    path("sessions/rota/exceptions/<int:pk>/remove/", rota.remove_day, name="remove_exception"),
    path("sessions/closures/new/", rota.close, name="add_closure"),
    path("sessions/closures/<int:pk>/remove/", rota.remove, name="remove_closure"),
    path("load/", load.load, name="load"),
    path("proposal/", proposal.proposed, name="proposal"),
    path("patients/<int:pk>/unavailable/", unavailable.unavailable, name="unavailable"),
    path("unavailable/<int:pk>/remove/", unavailable.remove, name="remove_unavailable"),
    path("eyes/<int:pk>/book/", views.book, name="book"),
    path("appointments/<int:pk>/move/", views.move, name="move"),
    path("appointments/<int:pk>/cancel/", views.cancel, name="cancel"),
    path("appointments/<int:pk>/arrived/", outcomes.arrived, name="arrived"),
    path("appointments/<int:pk>/attended/", outcomes.attended, name="attended"),
    path("appointments/<int:pk>/not-attended/", outcomes.not_attended, name="not_attended"),
    path("appointments/without-outcome/", outcomes.without_outcome, name="without_outcome"),
]
