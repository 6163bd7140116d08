from django.urls import path

from followup.web.feeds import views

urlpatterns = [
    path("calendars/", views.addresses, name="calendar_addresses"),
    path("calendars/<int:pk>/revoke/", views.revoke, name="revoke_calendar"),
    path("calendar/<str:token>.ics", views.calendar, name="calendar"),
]
