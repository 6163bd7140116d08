from django.urls import path

from followup.web.calls import views

urlpatterns = [
    path("calls/", views.day, name="calls"),
    path("calls/next/", views.go_on, name="next_call"),
    path("calls/<int:pk>/", views.call, name="call"),
    path("calls/<int:pk>/later/", views.later, name="call_later"),
]
