from django.urls import path

from followup.web.letters import views

urlpatterns = [
    path("letters/", views.letters, name="letters"),
    path("appointments/<int:pk>/letter/", views.of_appointment, name="appointment_letter"),
    path("patients/<int:pk>/letter/", views.not_reached, name="not_reached_letter"),
    path("eyes/<int:pk>/letter/", views.of_oil, name="oil_letter"),
]
